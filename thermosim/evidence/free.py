"""Which population parameters the published cases may move, what was believed of them before, and how far they may go.

Everything not named here keeps the value of the parameter table. Priors were written down before the first fit; they
come from other sources than the fitted cases. They are the one kind of physiological number outside ``parameters.py``: what
was believed before the fit, each with its source, must not move when the table does. Bounds are the published range in the
parameter table, unless a row names a narrower one and says why.

On a ``log`` scale the spread is a factor: ``1.5`` means that one standard deviation is from the prior divided by 1.5 to the
prior times 1.5. On a ``linear`` scale it is in the unit of the parameter.
"""

import math
from typing import NamedTuple

from thermosim.parameters import PARAMETERS

LINEAR, LOG = "linear", "log"


class Free(NamedTuple):
    """One parameter that the calibration may move."""

    name: str
    prior: float
    spread: float
    scale: str
    source: str
    low: float | None = None  # None: as in the parameter table
    high: float | None = None

    @property
    def bounds(self) -> tuple[float, float]:
        """Lowest and highest value allowed, in the unit of the parameter."""
        entry = PARAMETERS[self.name]
        return (
            entry.low if self.low is None else self.low,
            entry.high if self.high is None else self.high,
        )

    @property
    def prior_sd(self) -> float:
        """Standard deviation of the prior in the unit of the parameter; on a log scale that at the prior itself."""
        return self.prior * math.log(self.spread) if self.scale == LOG else self.spread

    @property
    def search_sd(self) -> float:
        """Standard deviation of the prior on the scale of the search."""
        return math.log(self.spread) if self.scale == LOG else self.spread

    def to_search(self, value: float) -> float:
        """Bring a value to the scale of the search.

        Examples
        --------
        >>> gain = Free("sweat_gain_L_h_K", 0.6, 1.5, LOG, "two-node value, doubled")
        >>> round((gain.to_search(0.9) - gain.to_search(0.6)) / gain.search_sd, 6)
        1.0
        """
        return math.log(value) if self.scale == LOG else value

    def from_search(self, position: float) -> float:
        """Bring a position on the scale of the search back to a value."""
        return math.exp(position) if self.scale == LOG else float(position)

    def error_at(self, value: float, search_error: float) -> float:
        """Turn a standard error on the scale of the search into one in the unit of the parameter, at a value."""
        return value * search_error if self.scale == LOG else search_error


# fmt: off
FREE: tuple[Free, ...] = (
    # --- thresholds and gains ----------------------------------------------------------------------------------
    Free("sweat_set_core_C", 36.9, 0.15, LINEAR, "onset at core 36.7 to 37.0 with skin at 34; reviews"),
    Free("skin_flow_set_core_C", 36.9, 0.15, LINEAR, "as for sweating: onsets lie within 0.1 to 0.2 K of each other"),
    Free("sweat_gain_L_h_K", 0.6, 1.5, LOG, "twice the two-node 0.31; trained people have two to three times"),
    Free("skin_flow_gain_L_min_K", 2.8, 1.8, LOG, "middle, by ratio, of published 1 to 8; the two-node model has 3.6"),
    Free("sweat_skin_weight", 0.10, 0.02, LINEAR, "core to skin about 10:1; Nadel, Bullard & Stolwijk 1971"),
    Free("skin_flow_skin_weight", 0.10, 0.02, LINEAR, "10:1 as for sweating; over 20:1 in Wyss 1974, and 0.03 is 33:1", low=0.03),
    Free("skin_signal_floor_C", 29.0, 1.5, LINEAR, "cold skin stops adding to the controllers' signal near 30; guess"),
    Free("sweat_gut_weight", 0.08, 0.05, LINEAR, "a cold stomach cuts sweating; Morris 2016, its size a guess"),
    # --- ceilings ----------------------------------------------------------------------------------------------
    Free("skin_flow_ceiling_exercise_L_min", 2.5, 0.7, LINEAR, "hard work: a third to a half of the resting 7 to 8"),
    Free("skin_flow_ceiling_intensity", 0.50, 0.08, LINEAR, "flow to skin begins to be held back near half of maximal uptake"),
    Free("maximum_sweat_rate_L_h", 1.5, 0.3, LINEAR, "runners 1 to 2 L/h"),
    Free("skin_flow_rest_L_min", 0.30, 0.08, LINEAR, "two-node 0.19; textbooks to 0.4"),
    Free("skin_flow_fall_per_pct_loss", 0.04, 0.02, LINEAR, "a fifth lower at 4 % of mass; Gonzalez-Alonso 1998, from memory"),
    # --- cold skin ---------------------------------------------------------------------------------------------
    Free("constriction_skin_C", 32.5, 0.6, LINEAR, "two-node model: below 33.7; resting people hold their core at 24 degC by it"),
    Free("constriction_gain_1_K", 0.5, 1.4, LOG, "two-node value"),
    Free("constriction_override", 6.0, 3.0, LINEAR, "hot people keep some flow to the skin in cold water; guess"),
    Free("local_flow_floor", 0.15, 0.06, LINEAR, "a few to twenty per cent at rest, hot people keep more; guess"),
    Free("shunt_flow_ceiling_L_min", 0.35, 0.12, LINEAR, "hands and feet of hot people; plethysmography, from memory"),
    # --- from core to skin, and what thermometers show ------------------------------------------------------------
    Free("conduction_factor", 0.45, 0.12, LINEAR,
         "two-node model: 5.3 W/m2K without skin flow, which is 0.3 of the cylinder estimate; lean people up to twice that",
         low=0.42),  # below it an ice collar takes less than the 20 W that hand calculation allows
    Free("rectal_lag_s", 500.0, 150.0, LINEAR, "rectal is minutes behind oesophageal in exercise and baths"),
    Free("viscera_flow_fall", 0.55, 0.12, LINEAR, "splanchnic flow halves or more in hard work; Rowell, from memory"),
    Free("muscle_flow_gain_L_per_L_oxygen", 5.6, 0.4, LINEAR, "cardiac output rises 5 to 6 L per litre of oxygen"),
    Free("fluid_threshold_shift_K_pct", 0.12, 0.05, LINEAR, "core 0.1 to 0.25 K higher per 1 % of mass; Sawka 2001"),
    Free("stomach_conductance_W_K", 6.0, 1.4, LOG, "cold drinks are within 2 K of the body after 20 to 30 min; from memory"),
    # --- heart rate --------------------------------------------------------------------------------------------
    Free("heart_core_bpm_K", 11.0, 4.0, LINEAR, "exercise fits in trained runners 7 to 20"),
    Free("heart_skin_bpm_K", 1.8, 0.7, LINEAR, "1 bpm per kelvin of air at about 0.5 K of skin; others 2 to 4"),
    Free("heart_skin_floor_C", 28.0, 1.5, LINEAR, "cold skin slows the heart no further below the twenties' end; guess"),
    Free("heart_fluid_bpm_pct", 3.3, 0.6, LINEAR, "pooled slope at fixed work; Adams 2014, from memory"),
    Free("heart_drift_bpm_h", 1.5, 1.0, LINEAR, "what core, skin and fluid leave unexplained; guess"),
    # --- air ---------------------------------------------------------------------------------------------------
    Free("cycling_swing_m_s", 1.0, 0.4, LINEAR, "pedalling legs stir still air about like a slow walk; guess"),
)
# fmt: on


def free_parameters() -> tuple[Free, ...]:
    """Return the free parameters, checked against the parameter table.

    Raises
    ------
    ValueError
        A row that names no parameter, bounds outside those of the table, or a prior outside its bounds.
    """
    names = [free.name for free in FREE]
    if len(set(names)) < len(names):
        raise ValueError("a parameter stands twice among the free parameters; keep one row of each")
    for free in FREE:
        if free.name not in PARAMETERS:
            raise ValueError(
                f"free parameter {free.name} is not in the parameter table; add it there, or take the row out"
            )
        entry, (low, high) = PARAMETERS[free.name], free.bounds
        if not entry.low <= low < high <= entry.high:
            raise ValueError(
                f"free parameter {free.name} may go from {low} to {high}, the parameter table allows {entry.low} to {entry.high} "
                f"{entry.unit}; keep the bounds inside"
            )
        if not low < free.prior < high or free.search_sd <= 0.0 or free.scale not in (LINEAR, LOG):
            raise ValueError(
                f"free parameter {free.name} has a prior outside {low} to {high}, no spread, or an unknown scale"
            )
    return FREE
