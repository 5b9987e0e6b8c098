"""The runner card: who runs, each value with its source and, where known, its range."""

from pathlib import Path
from typing import Any, ClassVar

from pydantic import field_validator, model_validator

from thermosim.errors import InputError
from thermosim.inputs.checks import (
    Card,
    allowed_range,
    check_choice,
    check_flag,
    check_names,
    check_range,
    missing,
    shown,
    with_unit,
)
from thermosim.inputs.files import read_toml
from thermosim.inputs.heat_exposures import (
    UNTOLD,
    Exposure,
    check_exposures,
    full_heat_days,
    read_exposures,
    run_day,
    when_days,
)
from thermosim.parameters import CLOTHING, PARAMETERS
from thermosim.variables import INPUTS

CLOTHING_NUMBERS = ("covered_fraction", "insulation_clo", "vapour_resistance_m2Pa_W")
SOURCES = ("measured", "fitted", "default")
LOWEST_BODY_MASS_INDEX, HIGHEST_BODY_MASS_INDEX = 13.0, 45.0  # [kg/m²]
ADULT_AGE_Y = 18.0


class Clothing(Card):
    """Clothing given as numbers, effective at running speed (not static manikin values).

    Parameters
    ----------
    covered_fraction : float
        Share of the skin under cloth.
    insulation_clo : float
        Dry insulation of the cloth [clo].
    vapour_resistance_m2Pa_W : float
        Vapour resistance of the cloth [m²Pa/W].
    """

    covered_fraction: float
    insulation_clo: float
    vapour_resistance_m2Pa_W: float

    @field_validator(*CLOTHING_NUMBERS, mode="before")
    @classmethod
    def _in_range(cls, value, info):
        return check_range(info.field_name, value, field=f"clothing.{info.field_name}")


class Runner(Card):
    """A runner card. Keyword arguments only; units are in the names.

    Parameters
    ----------
    mass_kg, height_m : float
        Body mass and height; required.
    sex : {'male', 'female'}
    age_y, body_fat_pct, vo2max_mL_kg_min : float
        Body fat None means the default of the sex (15 % male, 22 % female).
    resting_heart_rate_bpm, maximum_heart_rate_bpm, threshold_heart_rate_bpm : float
        Maximum None means 208 - 0.7 age (Tanaka 2001, J Am Coll Cardiol 37:153); threshold None is unknown.
    heat_days : float, optional
        Days with heat exposure in the last 14; None is unknown and counts as 0.
    heat_exposures : list, optional
        Heat days one by one, ``{date, minutes}`` or ``{days_before, minutes}``, instead of ``heat_days``; in a file also the name
        of a ``*.heat.csv``. They enter as what was gained and kept (``physiology/acclimatisation.py``).
    run_date : str, optional
        Day of the run, which dates are counted back from; left out, the day after the last exposure.
    maximum_sweat_rate_L_h : float, optional
        None leaves it to the population.
    economy_factor : float
        Multiplies the cost of running.
    clothing : str or table
        ``nude``, ``light_kit``, ``shirt_and_shorts``, ``coverall``, or the numbers of :class:`Clothing`.
    core_start_C : float, optional
        Core temperature at the start; None leaves it to the engine.
    name : str
        A short label such as ``P-31``; never a real name.
    pregnant, beta_blocker : bool
        Both narrow what may be said.
    sources : dict
        Field -> ``measured``, ``fitted`` or ``default``. Fields that were given count as measured.
    ranges : dict
        Field -> (low, high): the interval of a measured or fitted value.

    Examples
    --------
    >>> runner = Runner(mass_kg=54, height_m=1.64, sex="female")
    >>> runner.body_fat_resolved_pct
    22.0
    """

    mass_kg: float
    height_m: float
    sex: str = "male"
    age_y: float = 35.0
    body_fat_pct: float | None = None
    vo2max_mL_kg_min: float = 50.0
    resting_heart_rate_bpm: float = 55.0
    maximum_heart_rate_bpm: float | None = None
    threshold_heart_rate_bpm: float | None = None
    heat_days: float | None = None
    heat_exposures: tuple[Exposure, ...] | None = None
    run_date: str | None = None
    maximum_sweat_rate_L_h: float | None = None
    economy_factor: float = 1.0
    clothing: str | Clothing = "light_kit"
    core_start_C: float | None = None
    name: str = ""
    pregnant: bool = False
    beta_blocker: bool = False
    sources: dict[str, str] = {}
    ranges: dict[str, tuple[float, float]] = {}

    NUMBERS: ClassVar[tuple[str, ...]] = (
        "mass_kg", "height_m", "age_y", "body_fat_pct", "vo2max_mL_kg_min", "resting_heart_rate_bpm",
        "maximum_heart_rate_bpm", "threshold_heart_rate_bpm", "heat_days", "maximum_sweat_rate_L_h",
        "economy_factor", "core_start_C",
    )  # fmt: skip

    @field_validator(*NUMBERS, mode="before")
    @classmethod
    def _in_range(cls, value, info):
        optional = info.field_name in cls.model_fields and cls.model_fields[info.field_name].default is None
        return None if value is None and optional else check_range(info.field_name, value)

    @field_validator("heat_exposures", mode="before")
    @classmethod
    def _exposures(cls, value):
        return None if value is None else check_exposures(value)

    @field_validator("run_date", mode="before")
    @classmethod
    def _run_date(cls, value):
        return None if value is None else str(run_day(value, None))

    @field_validator("sex", mode="before")
    @classmethod
    def _sex(cls, value):
        return check_choice("sex", value, ("male", "female"))

    @field_validator("pregnant", "beta_blocker", mode="before")
    @classmethod
    def _flag(cls, value, info):
        return check_flag(info.field_name, value)

    @field_validator("name", mode="before")
    @classmethod
    def _label(cls, value):
        if isinstance(value, str) and len(value) <= 40 and (value.isprintable()):
            return value
        problem = f"is {shown(value)}, allowed is a text of up to 40 printable characters"
        raise InputError(problem, field="name", remedy='use a short label such as "P-31"')

    @field_validator("clothing", mode="before")
    @classmethod
    def _clothing(cls, value):
        if isinstance(value, Clothing):
            return value
        if isinstance(value, dict):
            check_names(value, CLOTHING_NUMBERS, value)
            for name in CLOTHING_NUMBERS:
                if name not in value:
                    raise missing(name)
            return Clothing(**value)
        try:
            return check_choice("clothing", value, CLOTHING)
        except InputError as error:
            numbers = ", ".join(f"{name} ({allowed_range(name)})" for name in CLOTHING_NUMBERS)
            remedy = f"{error.remedy}, or give a table with {numbers}"
            raise InputError(error.problem, field="clothing", remedy=remedy) from None

    @field_validator("sources", mode="before")
    @classmethod
    def _sources(cls, value):
        if not isinstance(value, dict):
            raise InputError(f"is {shown(value)}, allowed is a table of field = source", field="sources")
        check_names(value, [name for name in cls.model_fields if name not in ("sources", "ranges")])
        return {name: check_choice(f"sources.{name}", source, SOURCES) for name, source in value.items()}

    @field_validator("ranges", mode="before")
    @classmethod
    def _ranges(cls, value):
        if not isinstance(value, dict):
            raise InputError(f"is {shown(value)}, allowed is a table of field = [low, high]", field="ranges")
        check_names(value, cls.NUMBERS)
        return {name: check_interval(name, pair, f"ranges.{name}") for name, pair in value.items()}

    @model_validator(mode="after")
    def _agree(self):
        index = self.mass_kg / self.height_m**2
        if not LOWEST_BODY_MASS_INDEX <= index <= HIGHEST_BODY_MASS_INDEX:
            problem = (
                f"is {self.mass_kg:g} kg at {self.height_m:g} m, a body mass index of {index:.1f} kg/m², "
                f"allowed is {LOWEST_BODY_MASS_INDEX:g} to {HIGHEST_BODY_MASS_INDEX:g} kg/m²"
            )
            raise InputError(problem, field="mass_kg", remedy="check mass_kg and height_m")
        self._heart_rates_agree()
        if self.heat_exposures is not None and self.heat_days is not None:
            raise InputError("is given beside heat_exposures: the two say the same", field="heat_days", remedy="keep one of them")
        when_days(self.heat_exposures or (), self.run_date)
        for name, (low, high) in self.ranges.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                problem = f"is {low:g} to {high:g}, which does not contain {name} = {with_unit(name, value)}"
                raise InputError(
                    problem, field=f"ranges.{name}", remedy="widen the range or correct the value"
                )
        given = self.model_fields_set - {"sources", "ranges"}
        for name in type(self).model_fields:
            if name not in ("sources", "ranges", "name", *UNTOLD):
                known = name in given and getattr(self, name) is not None
                self.sources.setdefault(name, "measured" if known else "default")
        return self

    def _heart_rates_agree(self):
        rising = [
            ("resting_heart_rate_bpm", self.resting_heart_rate_bpm),
            ("threshold_heart_rate_bpm", self.threshold_heart_rate_bpm),
            ("maximum_heart_rate_bpm", self.maximum_heart_rate_resolved_bpm),
        ]
        rising = [(name, value) for name, value in rising if value is not None]
        for (lower, low), (upper, high) in zip(rising, rising[1:]):
            if not low < high:
                default = " by default" if getattr(self, upper) is None else ""
                problem = f"is {low:g} bpm, allowed is below {upper}, which is {high:g} bpm{default}"
                raise InputError(problem, field=lower, remedy=f"correct {lower} or give {upper}")

    @property
    def body_fat_resolved_pct(self) -> float:
        """Body fat [%], the default of the sex when not given."""
        default = PARAMETERS[f"body_fat_default_{self.sex}_pct"].value
        return default if self.body_fat_pct is None else self.body_fat_pct

    @property
    def maximum_heart_rate_resolved_bpm(self) -> float:
        """Maximum heart rate [bpm], from age when not given."""
        if self.maximum_heart_rate_bpm is None:
            at_birth = PARAMETERS["maximum_heart_rate_intercept_bpm"].value
            return at_birth + PARAMETERS["maximum_heart_rate_per_year_bpm"].value * self.age_y
        return self.maximum_heart_rate_bpm

    @property
    def heat_days_resolved(self) -> float:
        """Heat days in the last 14, of listed exposures by their dose; unknown counts as 0."""
        if self.heat_exposures is not None:
            return full_heat_days(self.heat_exposures, self.run_date)
        return 0.0 if self.heat_days is None else self.heat_days

    @property
    def outside_adult_model(self) -> bool:
        """Whether the runner is under 18 or pregnant: no default limit and no plan."""
        return self.pregnant or self.age_y < ADULT_AGE_Y

    def warnings(self) -> list[str]:
        """Return a sentence for each default used and for each use outside the model's range."""
        used = {
            "body_fat_pct": self.body_fat_resolved_pct,
            "maximum_heart_rate_bpm": self.maximum_heart_rate_resolved_bpm,
        }
        found = []
        for name, source in self.sources.items():
            if source != "default" or name in ("pregnant", "beta_blocker"):
                continue
            value = used.get(name, getattr(self, name))
            if name == "heat_days" and self.heat_exposures is not None:
                continue
            elif name == "heat_days" and value is None:
                found.append("heat_days is unknown: 0 days with heat exposure are assumed.")
            elif name == "threshold_heart_rate_bpm" and value is None:
                found.append("threshold_heart_rate_bpm is unknown: no cap can be set from it.")
            elif value is None:
                what = INPUTS[name].long_name
                found.append(f"{name} is unknown: the model's default {what} is used.")
            else:
                text = with_unit(name, value) if name in INPUTS else shown(value).strip("'")
                found.append(f"{name} is the default, {text}.")
        if self.heat_exposures is not None and self.run_date is None and any(one.date for one in self.heat_exposures):
            found.append("The day of the run is not given: heat exposures are counted back from the day after the last of them.")
        if self.outside_adult_model:
            why = "pregnant" if self.pregnant else f"age {self.age_y:g} y"
            found.append(f"Adult model, outside its range ({why}): no default limit and no plan.")
        if self.beta_blocker:
            found.append("Beta-blocker: heart rate reads low and is not modelled; no heart-rate fit, no cap.")
        return found

    def to_dict(self) -> dict[str, Any]:
        """Return the fields as plain values, without those that are unknown."""
        return self.model_dump(mode="json", exclude_none=True)

    def to_toml(self) -> str:
        """Return the text of a runner card that reads back to an equal runner."""
        tables = {}
        lines = []
        for name, value in self.to_dict().items():
            if isinstance(value, dict):
                tables[name] = value
            elif self.sources.get(name) != "default":
                lines.append(f"{name} = {_toml(value)}")
        given = {name: source for name, source in self.sources.items() if source != "default"}
        tables["sources"] = given
        for table, content in tables.items():
            if content:
                lines += ["", f"[{table}]"] + [f"{name} = {_toml(value)}" for name, value in content.items()]
        return "\n".join(lines) + "\n"

    @classmethod
    def read(cls, path) -> "Runner":
        """Read a ``*.runner.toml`` card."""
        data, source = read_toml(path)
        with source.blame():
            if isinstance(data.get("heat_exposures"), str):
                data["heat_exposures"] = read_exposures(data["heat_exposures"], Path(path).parent)
            return cls(**data)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"') + '"'
    if isinstance(value, dict):
        return "{" + ", ".join(f"{name} = {_toml(item)}" for name, item in value.items()) + "}"
    return f"[{', '.join(map(_toml, value))}]" if isinstance(value, (list, tuple)) else repr(value)


def check_interval(name: str, pair: Any, field: str) -> tuple[float, float]:
    """Return (low, high) of an interval of the input ``name``, both in range and low below high."""
    if not isinstance(pair, (list, tuple)) or len(pair) != 2:
        problem = f"is {shown(pair)}, allowed is [low, high] within {allowed_range(name)}"
        raise InputError(problem, field=field, remedy="give two numbers")
    low, high = (check_range(name, value, field=field) for value in pair)
    if not low < high:
        problem = f"is {low:g} to {high:g}, allowed is low below high within {allowed_range(name)}"
        raise InputError(problem, field=field, remedy="give the lower number first")
    return low, high
