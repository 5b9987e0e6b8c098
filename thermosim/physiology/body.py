"""The body as nodes: 12 segments x 4 layers + central blood + gut, scaled from mass, height, sex and body fat.

Each segment is a cylinder of its own volume and surface; layers are concentric shells. Both sides of the body
are taken together.
"""

import math
from typing import NamedTuple

import numpy as np

from thermosim.parameters import RESTING_MUSCLE_SHARE, SEGMENT_TABLE, SEGMENTS, value

LAYERS = ("core", "muscle", "fat", "skin")
N_SEGMENTS, N_LAYERS = len(SEGMENTS), len(LAYERS)


def column(name: str) -> np.ndarray:
    """Return one column of the segment table as an array of 12."""
    return np.array(SEGMENT_TABLE[name][0])


def surface_area_du_bois(mass_kg: float, height_m: float) -> float:
    """Body surface area [m²]: ``0.202 m^0.425 h^0.725``.

    References
    ----------
    Du Bois & Du Bois 1916 (from memory, high confidence).

    Examples
    --------
    >>> round(surface_area_du_bois(70.0, 1.75), 3)
    1.844
    """
    return 0.202 * mass_kg**0.425 * height_m**0.725


def surface_area_mosteller(mass_kg: float, height_m: float) -> float:
    """Body surface area [m²]: ``sqrt(m h / 36)``, height in metres times 100. For comparison only.

    Examples
    --------
    >>> round(surface_area_mosteller(60.0, 1.70), 3)
    1.683
    """
    return math.sqrt(mass_kg * 100.0 * height_m / 3600.0)


class Body(NamedTuple):
    """Geometry and thermal constants of one person; arrays are (12,) by segment or (4, 12) by layer and segment."""

    mass_kg: float
    surface_area_m2: float
    area_m2: np.ndarray
    layer_mass_kg: np.ndarray
    capacity_J_K: np.ndarray
    conductance_W_K: np.ndarray  # (3, 12): core–muscle, muscle–fat, fat–skin
    blood_capacity_J_K: float
    gut_mass_kg: float
    gut_capacity_J_K: float
    gut_conductance_W_K: float
    resting_share: np.ndarray  # (4, 12), sums to 1

    @property
    def total_capacity_J_K(self) -> float:
        """Heat capacity of the whole body [J/K]."""
        return float(self.capacity_J_K.sum() + self.blood_capacity_J_K + self.gut_capacity_J_K)


def _half_volume_radius(inner, outer):
    return math.sqrt(0.5 * (inner * inner + outer * outer))


def _shell_conductance(length, inner, middle, outer, k_inner, k_outer):
    """Conductance [W/K] from the half-volume radius of one shell to that of the next, meeting at ``middle``."""
    resistance = math.log(middle / inner) / k_inner + math.log(outer / middle) / k_outer
    return 2.0 * math.pi * length / resistance


def build_body(mass_kg: float, height_m: float, body_fat_pct: float, conduction_factor: float) -> Body:
    """Scale the segment table to one person.

    Parameters
    ----------
    mass_kg, height_m, body_fat_pct : float
        Body mass [kg], height [m], body fat [% of mass].
    conduction_factor : float
        Multiplier on the cylinder estimate of tissue conductance [1].

    Returns
    -------
    Body
        Masses add up to ``mass_kg``; areas to the Du Bois surface.

    References
    ----------
    Du Bois & Du Bois 1916 (surface); segment table and tissue constants: see ``parameters.py``.
    """
    surface = surface_area_du_bois(mass_kg, height_m)
    area = surface * column("area_share")
    blood_mass = mass_kg * value("blood_mass_fraction")
    gut_mass = mass_kg * value("gut_mass_fraction")
    fat_mass = mass_kg * body_fat_pct / 100.0

    skin = area * value("skin_thickness_m") * value("density_lean")
    weight = column("fat_weight") * area
    fat = fat_mass * value("subcutaneous_share_of_fat") * weight / weight.sum()
    segment_mass = mass_kg * column("mass_share")
    # Blood pool and gut are taken out of chest, back and abdomen, in proportion to their mass.
    trunk = np.array([name in ("chest", "back", "abdomen") for name in SEGMENTS])
    segment_mass = (
        segment_mass
        - (blood_mass + gut_mass) * np.where(trunk, segment_mass, 0.0) / segment_mass[trunk].sum()
    )
    lean = np.maximum(segment_mass - skin - fat, 0.2 * segment_mass)
    lean *= (mass_kg - blood_mass - gut_mass - skin.sum() - fat.sum()) / lean.sum()
    muscle = lean * column("muscle_share")
    core = lean - muscle

    internal_fat = fat_mass * (1.0 - value("subcutaneous_share_of_fat"))
    c_core = np.full(N_SEGMENTS, value("specific_heat_core"))
    trunk_core = core[trunk].sum()
    share = min(internal_fat / trunk_core, 0.9)
    c_core[trunk] = (1.0 - share) * value("specific_heat_core") + share * value("specific_heat_fat")
    capacity = np.stack(
        [
            core * c_core,
            muscle * value("specific_heat_muscle"),
            fat * value("specific_heat_fat"),
            skin * value("specific_heat_skin"),
        ]
    )

    conductance = np.zeros((3, N_SEGMENTS))
    k_lean, k_fat, k_skin = value("conductivity_lean"), value("conductivity_fat"), value("conductivity_skin")
    for s in range(N_SEGMENTS):
        volumes = np.array([core[s], muscle[s]]) / value("density_lean")
        volumes = np.append(volumes, [fat[s] / value("density_fat"), skin[s] / value("density_lean")])
        outer = 2.0 * volumes.sum() / area[s]
        length = area[s] / (2.0 * math.pi * outer)
        radii = np.sqrt(np.cumsum(volumes) / (math.pi * length))
        inner = np.concatenate([[0.0], radii[:-1]])
        middles = [_half_volume_radius(a, b) for a, b in zip(inner, radii, strict=True)]
        for layer, (k_in, k_out) in enumerate(((k_lean, k_lean), (k_lean, k_fat), (k_fat, k_skin))):
            conductance[layer, s] = conduction_factor * _shell_conductance(
                length, middles[layer], radii[layer], middles[layer + 1], k_in, k_out
            )

    resting = np.zeros((N_LAYERS, N_SEGMENTS))
    resting[0] = column("resting_core_share")
    resting[1] = RESTING_MUSCLE_SHARE.value * muscle / muscle.sum()
    resting[3] = (1.0 - resting.sum()) * area / surface
    gut_contact = value("gut_contact_share") * surface
    return Body(
        mass_kg=mass_kg,
        surface_area_m2=surface,
        area_m2=area,
        layer_mass_kg=np.stack([core, muscle, fat, skin]),
        capacity_J_K=capacity,
        conductance_W_K=conductance,
        blood_capacity_J_K=blood_mass * value("specific_heat_blood"),
        gut_mass_kg=gut_mass,
        gut_capacity_J_K=gut_mass * value("specific_heat_core"),
        gut_conductance_W_K=k_lean * gut_contact / value("gut_contact_depth_m"),
        resting_share=resting,
    )
