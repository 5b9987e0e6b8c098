"""Cooling devices: each is a frozen dataclass with one method that returns rows of the boundary table.

To write your own, see :class:`thermosim.cooling.device.Device`; to wear it, wrap it in
:class:`~thermosim.cooling.device.Worn` with times.
"""

from thermosim.cooling.collars import IceCollar, ice_collar
from thermosim.cooling.device import Worn, flatten_cooling, from_spec, is_own, spec_of, worn_list
from thermosim.cooling.rows import boundary_row

__all__ = [
    "IceCollar",
    "Worn",
    "boundary_row",
    "flatten_cooling",
    "from_spec",
    "ice_collar",
    "is_own",
    "spec_of",
    "worn_list",
]
