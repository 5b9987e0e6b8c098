"""What is around the runner: fan, mist, canopy, cooler breath; the ideal sink, a bound; the sham that does nothing."""

import numpy as np

from thermosim.cooling.card import device_kind
from thermosim.cooling.rows import boundary_row
from thermosim.engine.records import AROUND
from thermosim.parameters import Parameter

_NO_SOURCE = "common practice, no source"
PSYCHROMETRIC_KPA_K = 0.0665  # vapour that evaporating water adds to air for each kelvin it cools it, at 101 kPa

FAN: dict[str, Parameter] = {
    "air_speed_m_s": Parameter(3.0, "m/s", 0.1, 8.0, 0.4, f"2 to 4 m/s over the runner; {_NO_SOURCE}", "medium"),
}
MISTING_FAN: dict[str, Parameter] = {
    "air_speed_m_s": Parameter(3.0, "m/s", 0.1, 8.0, 0.4, f"2 to 4 m/s over the runner; {_NO_SOURCE}", "medium"),
    "mist_kg_min": Parameter(0.03, "kg/min", 0.0, 0.5, 0.01, f"water that reaches the skin; {_NO_SOURCE}", "low"),
    "mist_C": Parameter(22.0, "°C", 0.0, 40.0, 2.0, "near the wet bulb of the air; estimate", "low"),
    "air_cooling_K": Parameter(
        1.5, "K", 0.0, 15.0, 0.5, f"by droplets on the way, at most to the wet bulb of the air given; {_NO_SOURCE}", "low"
    ),
}
SHADE: dict[str, Parameter] = {
    "shade_share": Parameter(0.85, "1", 0.0, 1.0, 0.05, f"of the sun, under a dense canopy; {_NO_SOURCE}", "medium"),
}
COOL_BREATH: dict[str, Parameter] = {
    "breath_C": Parameter(12.0, "°C", -10.0, 45.0, 3.0, f"air as it reaches the mouth; {_NO_SOURCE}", "low"),
    "breath_share": Parameter(0.15, "1", 0.0, 1.0, 0.05, f"of what is breathed while running; {_NO_SOURCE}", "low"),
}
IDEAL_SINK: dict[str, Parameter] = {
    "sink_W": Parameter(24.0, "W", 0.0, 1000.0, 0.0, "a fresh covered collar's watts, to bound them", "high"),
}
SHAM: dict[str, Parameter] = {
    "mass_kg": Parameter(0.0, "kg", 0.0, 5.0, 0.0, "as heavy as the device it stands for", "high"),
}


def _around(**fields) -> np.ndarray:
    row = boundary_row("head", area_m2=0.01, outer_area_m2=0.0, outer_J_K=1.0, **fields)
    row["place"] = AROUND
    return row


@device_kind(FAN)
class Fan:
    """Moving air: more convection and more evaporation; it heats where the air is warmer than skin and the skin is dry.

    Parameters
    ----------
    air_speed_m_s : float
        Air over the runner moves at least this fast [m/s].
    """

    air_speed_m_s: float
    name: str = "fan"

    def rows(self) -> np.ndarray:
        """Return the one row."""
        return _around(air_speed_m_s=self.air_speed_m_s)


@device_kind(MISTING_FAN)
class MistingFan:
    """A fan with mist: water on the skin, and air that its droplets cool and moisten.

    Parameters
    ----------
    air_speed_m_s : float
        Air over the runner moves at least this fast [m/s].
    mist_kg_min, mist_C : float
        Water that reaches the skin [kg/min] and its temperature [°C].
    air_cooling_K : float
        How much the air is cooled [K], at most to its wet bulb, where no droplet evaporates any more; its vapour pressure
        rises by 0.0665 kPa/K.
    """

    air_speed_m_s: float
    mist_kg_min: float
    mist_C: float
    air_cooling_K: float
    name: str = "misting_fan"

    def rows(self) -> np.ndarray:
        """Return the one row."""
        return _around(
            air_speed_m_s=self.air_speed_m_s,
            mist_kg_s=self.mist_kg_min / 60.0,
            mist_C=self.mist_C,
            air_change_K=-self.air_cooling_K,
            vapour_change_kPa=PSYCHROMETRIC_KPA_K * self.air_cooling_K,
        )


@device_kind(SHADE)
class Shade:
    """A canopy: a share of the given solar load is kept off. What sky and ground radiate is left as it is.

    Parameters
    ----------
    shade_share : float
        Share of the sun that is kept off [1].
    """

    shade_share: float
    name: str = "shade"

    def rows(self) -> np.ndarray:
        """Return the one row."""
        return _around(shade_share=self.shade_share)


@device_kind(COOL_BREATH)
class CoolBreath:
    """Cooler air to breathe: the airway can take only some watts.

    Parameters
    ----------
    breath_C : float
        Temperature of that air [°C].
    breath_share : float
        Share of what is breathed [1].
    """

    breath_C: float
    breath_share: float
    name: str = "cool_breath"

    def rows(self) -> np.ndarray:
        """Return the one row."""
        return _around(breath_C=self.breath_C, breath_share=self.breath_share)


@device_kind(IDEAL_SINK)
class IdealSink:
    """Watts taken straight from the blood: no device can do this; it bounds what any device of its watts could do.

    Parameters
    ----------
    sink_W : float
        Heat taken [W].
    """

    sink_W: float
    name: str = "ideal_sink"

    def rows(self) -> np.ndarray:
        """Return the one row."""
        return _around(sink_W=self.sink_W)


@device_kind(SHAM)
class Sham:
    """A device that takes no heat and covers nothing: for trials, or for what is only felt (menthol: 0 W).

    Parameters
    ----------
    mass_kg : float
        What it weighs [kg].
    """

    mass_kg: float
    name: str = "sham"

    def rows(self) -> np.ndarray:
        """Return the one row."""
        return _around(dry_mass_kg=self.mass_kg)
