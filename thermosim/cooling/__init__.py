"""Cooling devices: each is a frozen dataclass with one method that returns rows of the boundary table.

To write your own, see :class:`thermosim.cooling.device.Device`; to wear it, wrap it in
:class:`~thermosim.cooling.device.Worn` with times.
"""

from thermosim.cooling.device import Worn, boundary_row, flatten_cooling, from_spec, spec_of
from thermosim.cooling.ice_collar import IceCollar, ice_collar

__all__ = ["IceCollar", "Worn", "boundary_row", "flatten_cooling", "from_spec", "ice_collar", "spec_of"]
