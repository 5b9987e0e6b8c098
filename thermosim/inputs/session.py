"""The session sheet: runner, weather, effort, limits and variants, checked together."""

import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from thermosim.clock import clock_seconds, clock_text
from thermosim.errors import InputError
from thermosim.inputs.blocks import Block, blocks_of, read_blocks, read_effort_of_blocks
from thermosim.inputs.checks import check_names, missing, shown
from thermosim.inputs.course_effort import (
    COURSE_FLAGS,
    OVER_FIELDS,
    effort_of_flags,
    read_effort_over,
    with_course_flags,
)
from thermosim.inputs.device_cards import expand_device
from thermosim.inputs.effort import OPTIONS, PART_FIELDS, Effort
from thermosim.inputs.files import Source, read_toml
from thermosim.inputs.forecast import Forecast, read_weather
from thermosim.inputs.heat_exposures import UNTOLD, read_exposures, run_day
from thermosim.inputs.limits import Ensemble, Limits, Variant, check_assumed
from thermosim.inputs.pacing import RULE_FLAGS, Rule, read_rule, with_rule_flags
from thermosim.inputs.plain import SameContent, plain
from thermosim.inputs.ratings import Ratings
from thermosim.inputs.recordings import read_recording
from thermosim.inputs.runner import Runner
from thermosim.inputs.wear import read_wear
from thermosim.inputs.weather import FIELDS as WEATHER_FIELDS
from thermosim.inputs.weather import Weather
from thermosim.inputs.weather_sun import sun_at_night

TABLES = ("title", "start", "runner", "weather", "effort", "limits", "ensemble", "variant", "assumed", "ratings", "start_clock",
          "runners", "date", "heat_exposures", "rule", "block", "course")  # fmt: skip
RECORDING_FIELDS = ("file", "columns", "delimiter", "track", "grade")
# Flag -> field of [limits]; the plain field names are taken as well.
LIMIT_FIELDS = {
    "core_limit_C": "core_temperature_C", "core_temperature_C": "core_temperature_C",
    "limit_site": "site", "limit_reason": "reason",
}  # fmt: skip
RUNNER_FIELDS = tuple(name for name in Runner.model_fields if name not in ("sources", "ranges", *UNTOLD))
EFFORT_FIELDS = (*PART_FIELDS, *OPTIONS)
OVER_A_COURSE = tuple(name for name in (*COURSE_FLAGS, *OVER_FIELDS) if name not in (*EFFORT_FIELDS, "section_pace"))
ALL_FIELDS = (*RUNNER_FIELDS, *WEATHER_FIELDS, *EFFORT_FIELDS, *OVER_A_COURSE, *RULE_FLAGS, *LIMIT_FIELDS, "members", "seed")
JSON_FORMAT = 1
_TIME_SLACK_S = 1e-6


@dataclass(frozen=True, eq=False)
class Session(SameContent):
    """Everything one run or one comparison needs, validated.

    Attributes
    ----------
    runner : Runner
    weather : Weather
    effort : Effort
    limits : Limits
    ensemble : Ensemble
    variants : tuple of Variant
    assumed : dict
        Field of runner or weather -> (low, high) for what was not measured.
    title : str
    ratings : Ratings, optional
        What the runner said of effort and thermal sensation; shown beside the model, and enters nothing.
    start_clock : str
        Clock time of the start, ``"05:00"``, for plans by the clock; left out, that of a weather sheet with a clock.
    others : tuple of Runner
        Further runners of the session, for ``hours``; all else takes the first.
    forecast : Forecast, optional
        What the weather's forecast leaves open: further sheets, a stated spread. Ensembles draw from it.
    rule : Rule, optional
        When to walk, stand and stop.
    blocks : tuple of Block
        Warm-up, reps, rests and cool-down; ``effort`` is then what they plan.

    Examples
    --------
    >>> session = Session.from_fields({"mass_kg": 65, "height_m": 1.75, "speed_m_s": 3.3, "minutes": 60,
    ...                                "air_temperature_C": 31, "relative_humidity_pct": 85})
    >>> session.core_limit_C
    38.5
    >>> Session.from_json(session.to_json()) == session
    True
    """

    runner: Runner
    weather: Weather
    effort: Effort
    limits: Limits = field(default_factory=Limits)
    ensemble: Ensemble = field(default_factory=Ensemble)
    variants: tuple[Variant, ...] = (Variant(name="none"),)
    assumed: dict[str, tuple[float, float]] = field(default_factory=dict)
    title: str = ""
    ratings: Ratings | None = None
    start_clock: str = ""
    others: tuple[Runner, ...] = ()
    forecast: Forecast | None = None
    rule: Rule | None = None
    blocks: tuple[Block, ...] = ()

    def __post_init__(self):
        for runner in self.runners if self.rule is not None else ():
            self.rule.check(runner)
        self._turns_possible()
        if not isinstance(self.title, str) or len(self.title) > 200:
            problem = f"is {shown(self.title)}, allowed is a text of up to 200 characters"
            raise InputError(problem, field="title", remedy="shorten it")
        names = [variant.name for variant in self.variants]
        for k, name in enumerate(names, start=1):
            if name in names[: k - 1]:
                problem = f"is {shown(name)} a second time, allowed is each name once"
                raise InputError(problem, field=f"variant[{k}].name", remedy="rename one of the variants")
        if not names:
            raise InputError(
                "has no entry", field="variant", remedy="leave it out for one variant without cooling"
            )
        for weather in (self.weather, *(self.forecast.sheets if self.forecast else ())):
            self._weather_covers_effort(weather)
        self._heading_known()
        self._one_start()
        object.__setattr__(self, "assumed", check_assumed(self.assumed, self.runner, self.weather))

    def _weather_covers_effort(self, weather: Weather) -> None:
        if weather.steady_air:
            return
        first, last = float(weather.time_s[0]), float(weather.time_s[-1])
        if first > _TIME_SLACK_S or last < 60.0 * self.effort.minutes - _TIME_SLACK_S:
            problem = (
                f"covers minute {first / 60.0:.6g} to {last / 60.0:.6g}, the effort lasts from 0 to "
                f"{self.effort.minutes:.6g} min, allowed is weather that covers the whole effort"
            )
            raise InputError(problem, field="weather", remedy="add rows to the weather or shorten the effort")

    def _heading_known(self) -> None:
        if self.weather.wind_from == "degrees" and np.any(np.isnan(self.effort.heading_deg)):
            degrees = float(self.weather.wind_from_deg[0])
            problem = f"is {degrees:g} °: a wind direction without heading_deg in the effort"
            remedy = "add heading_deg (0 to 360 °) to every part of the effort, or write head, tail or cross"
            if self.effort.ground is not None:
                remedy = "add the column heading_deg to the course sheet, or write head, tail or cross in the weather"
            raise InputError(problem, field="weather.wind_from", remedy=remedy)

    def _turns_possible(self) -> None:
        for k, block in enumerate(self.blocks, start=1):
            if block.waits and not self.others:
                raise InputError("waits for another runner, and the session has one", field=f"block[{k}].until",
                                 remedy='write runners = ["….runner.toml", "….runner.toml"], or give minutes')  # fmt: skip

    def _one_start(self) -> None:
        if not self.start_clock:
            return
        seconds = clock_seconds(self.start_clock) if isinstance(self.start_clock, str) else None
        if seconds is None or seconds >= 86400.0:
            problem = f'is {shown(self.start_clock)}, allowed is "HH:MM"'
            raise InputError(problem, field="start_clock", remedy='write e.g. "05:00"')
        other = self.weather.start_clock_s
        if other is not None and abs(other - seconds) > _TIME_SLACK_S:
            problem = f"is {self.start_clock}, but the weather sheet starts at {clock_text(other)}"
            raise InputError(problem, field="start_clock", remedy="leave start_clock out and write start instead")

    @property
    def start_clock_s(self) -> float | None:
        """Clock time of the start [s since midnight], if anything says so."""
        return clock_seconds(self.start_clock) if self.start_clock else self.weather.start_clock_s

    @property
    def core_limit_C(self) -> float:
        """The core limit [°C], resolved for this runner; NaN where there is none."""
        return self.limits.resolved_C(self.runner)

    @property
    def limit_site(self) -> str:
        """Which temperature the limit acts on."""
        return self.limits.site

    @classmethod
    def read(cls, path, build_device=None) -> "Session":
        """Read a ``*.session.toml``; runner, weather, pace, recording and device files are beside it.

        ``build_device`` builds a device from its table (:func:`thermosim.cooling.cards.build`): with it a device card
        that its kind would refuse is refused here, with file and line.
        """
        data, source = read_toml(path)
        folder = Path(path).parent
        with source.blame():
            check_names(data, TABLES, data)
            for name in ("runner", "weather", "effort"):
                instead = {"runner": "runners", "effort": "block"}.get(name)
                if name not in data and instead not in data:
                    raise InputError(
                        "is missing", field=name, remedy=f'add a [{name}] table or {name} = "file"'
                    )
            runner, *others = _runners(data, folder, source)
            weather, forecast = _weather(data["weather"], folder, source.under("weather"))
            runner, *others = (_on_the_day(one, data, weather, folder) for one in (runner, *others))
            if "start" in data:
                there = weather.time_s[0]
                weather = weather.starting_at(data["start"])
                forecast = forecast and forecast.shifted(float(there - weather.time_s[0]))
            blocks = read_blocks(data, folder, source, build_device)
            effort_of = read_effort_of_blocks if blocks else _effort
            if "course" in data:
                effort = read_effort_over(data, folder, source, runner)
            else:
                effort = effort_of(data.get("effort", {}), blocks or folder, source.under("effort"))
            rule = read_rule(data, (runner, *others), source)
            with source.under("limits").blame():
                limits = Limits(**_table(data.get("limits", {}), "limits", source))
            with source.under("ensemble").blame():
                ensemble = Ensemble(**_table(data.get("ensemble", {}), "ensemble", source))
            variants = _variants(data.get("variant", [{"name": "none"}]), source, folder, build_device)
            with source.under("assumed").blame():
                assumed = check_assumed(data.get("assumed", {}), runner, weather)
            title = data.get("title", "")
            ratings = None
            if "ratings" in data:
                ratings = Ratings.from_table(data["ratings"], folder, source.under("ratings"))
            start_clock = data.get("start_clock", "")
            return cls(
                runner, weather, effort, limits, ensemble, variants, assumed, title, ratings, start_clock, tuple(others),
                forecast, rule, blocks,
            )  # fmt: skip

    @property
    def runners(self) -> tuple[Runner, ...]:
        """All runners of the session, the first of them its ``runner``."""
        return (self.runner, *self.others)

    @classmethod
    def from_parts(
        cls, runner: Runner, effort: Effort, weather: Weather, *, cooling=None, variants=None, limits=None,
        ensemble=None, assumed=None, title="", ratings=None, start_clock="", rule=None, blocks=(),
    ) -> "Session":  # fmt: skip
        """Return a session of records; ``cooling`` is a list of device tables for one variant, ``cooled``."""
        for name, value, kind in (
            ("runner", runner, Runner),
            ("effort", effort, Effort),
            ("weather", weather, Weather),
        ):
            if not isinstance(value, kind):
                problem = f"is {shown(type(value).__name__)}, needed is a {kind.__name__}"
                raise InputError(problem, field=name, remedy=f"make one with thermosim.{kind.__name__}")
        if variants is None:
            variants = [Variant(name="cooled", cooling=cooling)] if cooling else [Variant(name="none")]
        variants = tuple(one if isinstance(one, Variant) else Variant(**one) for one in variants)
        limits = Limits(**limits) if isinstance(limits, dict) else limits or Limits()
        ensemble = Ensemble(**ensemble) if isinstance(ensemble, dict) else ensemble or Ensemble()
        more = {"rule": Rule(**rule) if isinstance(rule, dict) else rule, "blocks": blocks_of(blocks) if blocks else ()}
        return cls(
            runner, weather, effort, limits, ensemble, variants, dict(assumed or {}), title, ratings, start_clock, **more
        )

    @classmethod
    def from_fields(cls, fields: dict[str, Any]) -> "Session":
        """Return a session from flat field names alone, as flags give them."""
        runner, weather, effort, rule, limits, ensemble = _route(fields)
        for name in ("mass_kg", "height_m"):
            if name not in runner:
                raise missing(name)
        who = Runner(**runner)
        parts = who, Weather.steady(**weather), effort_of_flags(effort, who), Limits(**limits), Ensemble(**ensemble)
        return cls(*parts, rule=with_rule_flags(None, rule))

    def with_overrides(self, fields: dict[str, Any]) -> "Session":
        """Return the session with fields replaced; a new humidity form drops the others."""
        runner, weather, effort, rule, limits, ensemble = _route(fields)
        changed: dict[str, Any] = {"rule": with_rule_flags(self.rule, rule)}
        if effort and self.blocks:
            raise InputError("is said by the blocks of this session", field=next(iter(effort)), remedy="change the blocks")
        if runner:
            kept = {name: getattr(self.runner, name) for name in self.runner.model_fields_set}
            kept["sources"] = {name: kind for name, kind in self.runner.sources.items() if name not in runner}
            kept["ranges"] = {name: pair for name, pair in self.runner.ranges.items() if name not in runner}
            changed["runner"] = Runner(**{**kept, **runner})
        if weather:
            changed["weather"] = self.weather.with_fields(weather)
        if effort:
            changed["effort"] = with_course_flags(self.effort, effort, changed.get("runner", self.runner))
        if limits:
            changed["limits"] = Limits(**{**self.limits.model_dump(exclude_unset=True), **limits})
        if ensemble:
            changed["ensemble"] = Ensemble(**{**self.ensemble.model_dump(), **ensemble})
        overridden = {name: pair for name, pair in self.assumed.items() if name not in fields}
        return replace(self, **changed, assumed=overridden)

    def warnings(self) -> list[str]:
        """Return a sentence for each default and each doubt of runner, weather, effort and limits."""
        found = self.runner.warnings() + self.weather.warnings() + self.effort.warnings()
        found += sun_at_night(self.weather, self.start_clock_s, self.effort.minutes)
        found += self.limits.warnings(self.runner)
        if self.rule is not None:
            found += self.rule.warnings(self.runner, self.effort.kind == "recording")
        found += self.forecast.warnings() if self.forecast else []
        if self.effort.treadmill and bool(np.any(self.weather.wind_speed_m_s > 0.0)):
            found.append(
                "wind_speed_m_s has no effect on a treadmill: the air moves with fan_speed_m_s only."
            )
        late = 0 if self.ratings is None else self.ratings.later_than(self.effort.minutes)
        if late:
            found.append(
                f"{late} recorded rating{'s are' if late > 1 else ' is'} later than the end of the run "
                f"({self.effort.minutes:.6g} min): kept, but not drawn."
            )
        return found

    def to_dict(self) -> dict[str, Any]:
        """Return the whole session as plain values."""
        more: dict[str, Any] = {} if self.ratings is None else {"ratings": self.ratings.to_dict()}
        if self.start_clock:
            more["start_clock"] = self.start_clock
        if self.others:
            more["others"] = [one.to_dict() for one in self.others]
        if self.forecast is not None:
            more["forecast"] = self.forecast.to_dict()
        if self.rule is not None:
            more["rule"] = self.rule.model_dump(exclude_none=True)
        if self.blocks:
            more["blocks"] = [plain(block.model_dump(exclude_none=True)) for block in self.blocks]
        return {
            "session_format": JSON_FORMAT,
            "title": self.title,
            "runner": self.runner.to_dict(),
            "weather": self.weather.to_dict(),
            "effort": self.effort.to_dict(),
            "limits": self.limits.model_dump(exclude_none=True),
            "ensemble": self.ensemble.model_dump(),
            "variants": [plain(variant.model_dump()) for variant in self.variants],
            "assumed": plain(self.assumed),
            **more,
        }

    def to_json(self) -> str:
        """Return the whole session as one JSON text, with which a saved run can run again."""
        return json.dumps(self.to_dict(), ensure_ascii=False, allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> "Session":
        """Return the session of :meth:`to_json`."""
        remedy = "use the inputs of a run that thermosim saved"
        try:
            data = json.loads(text)
            if data["session_format"] != JSON_FORMAT:
                raise InputError(f"is {shown(data['session_format'])}, allowed is {JSON_FORMAT}",
                                 field="session_format", remedy=remedy)  # fmt: skip
            return cls(
                Runner(**data["runner"]), Weather.from_dict(data["weather"]),
                Effort.from_dict(data["effort"]),
                Limits(**data["limits"]), Ensemble(**data["ensemble"]),
                tuple(Variant(**variant) for variant in data["variants"]), data["assumed"], data["title"],
                Ratings.from_dict(data["ratings"]) if "ratings" in data else None, data.get("start_clock", ""),
                tuple(Runner(**one) for one in data.get("others", ())),
                Forecast.from_dict(data["forecast"]) if "forecast" in data else None,
                Rule(**data["rule"]) if "rule" in data else None, blocks_of(data["blocks"]) if "blocks" in data else (),
            )  # fmt: skip
        except (ValueError, KeyError, TypeError, AttributeError, IndexError, OverflowError, RecursionError):
            raise InputError("are not a session in JSON", field="inputs", remedy=remedy) from None


def _route(fields: dict[str, Any]) -> tuple[dict[str, Any], ...]:
    """Return the fields of runner, weather, effort, limits and ensemble, each under its own name."""
    check_names(fields, ALL_FIELDS, fields)
    runner = {name: value for name, value in fields.items() if name in RUNNER_FIELDS}
    weather = {name: value for name, value in fields.items() if name in WEATHER_FIELDS}
    effort = {name: value for name, value in fields.items() if name in (*EFFORT_FIELDS, *OVER_A_COURSE)}
    rule = {name: value for name, value in fields.items() if name in RULE_FLAGS}
    limits = {LIMIT_FIELDS[name]: value for name, value in fields.items() if name in LIMIT_FIELDS}
    ensemble = {name: value for name, value in fields.items() if name in ("members", "seed")}
    return runner, weather, effort, rule, limits, ensemble


def _table(value: Any, name: str, source: Source) -> dict[str, Any]:
    if isinstance(value, dict):
        return value
    raise InputError(
        f"is {shown(value)}, needed is a table", field=name, file=source.file, line=source.lines.get((name,)),
        remedy=f"write [{name}] and its fields below",
    )  # fmt: skip


def _runner(value: Any, folder: Path, source: Source) -> Runner:
    if isinstance(value, str):
        return Runner.read(folder / value)
    with source.blame():
        return Runner(**_table(value, "runner", source))


def _runners(data: dict[str, Any], folder: Path, source: Source) -> list[Runner]:
    """Return the session's runners: one, or a list of runner cards with names that differ."""
    if "runners" not in data:
        return [_runner(data["runner"], folder, source.under("runner"))]
    if "runner" in data:
        raise InputError("is given beside runner, allowed is one of the two", field="runners", remedy="keep one of them")
    names = data["runners"]
    if not isinstance(names, list) or not names or not all(isinstance(name, str) for name in names):
        problem = f"is {shown(names)}, needed is a list of runner cards"
        raise InputError(problem, field="runners", remedy='write e.g. ["P-17.runner.toml", "P-22.runner.toml"]')
    found = [Runner.read(folder / name) for name in names]
    labels = [one.name or Path(name).name.split(".")[0] for one, name in zip(found, names)]
    if len(set(labels)) < len(labels):
        raise InputError(f"are called {', '.join(labels)}, allowed is each name once", field="runners", remedy="name each card")
    return [one if one.name else one.model_copy(update={"name": label}) for one, label in zip(found, labels)]


def _on_the_day(runner: Runner, data: dict[str, Any], weather: Weather, folder: Path) -> Runner:
    """Return the runner with the heat exposures that the session states and the day of the run, if anything says it."""
    typical = isinstance(data["weather"], dict) and "station" in data["weather"]  # a typical year's dates are no dates of runs
    day = run_day(data.get("date"), None if typical else weather.given.get("start"))
    if "heat_exposures" not in data and (day is None or runner.heat_exposures is None):
        return runner
    kept = {name: getattr(runner, name) for name in runner.model_fields_set}
    if "heat_exposures" in data:
        if runner.heat_exposures is not None or "runners" in data:
            problem = "is given beside exposures of a runner card" if runner.heat_exposures else "is given for several runners"
            raise InputError(problem, field="heat_exposures", remedy="write it into each runner's card")
        if runner.heat_days is not None:
            raise InputError("is given beside heat_days of the runner: the two say the same", field="heat_exposures",
                             remedy="keep one of them")  # fmt: skip
        kept["heat_exposures"] = read_exposures(data["heat_exposures"], folder)
    return Runner(**{**kept, **({} if day is None else {"run_date": day})})


def _weather(value: Any, folder: Path, source: Source) -> tuple[Weather, Forecast | None]:
    with source.blame():
        if not isinstance(value, (str, list)):
            _table(value, "weather", source)
        return read_weather(value, folder, source)


def _effort(value: Any, folder: Path, source: Source) -> Effort:
    """Return the effort of one of four kinds: one speed, parts, a pace sheet, a recording."""
    with source.blame():
        data = _table(value, "effort", source)
        check_names(data, (*EFFORT_FIELDS, "part", "pace", "recording"), data)
        kinds = [name for name in ("part", "pace", "recording") if name in data]
        options = {name: item for name, item in data.items() if name in OPTIONS}
        fields = [name for name in data if name in PART_FIELDS]
        if len(kinds) > 1 or (kinds and fields):
            problem = f"is given beside {(kinds + fields)[0]}, allowed is one kind of effort in a session"
            raise InputError(
                problem,
                field=(kinds + fields)[1],
                remedy="keep speed_m_s with minutes, or part, or pace, or recording",
            )
        if "part" in data:
            return Effort.table(data["part"], **options)
        if "pace" in data:
            if not isinstance(data["pace"], str):
                problem = f"is {shown(data['pace'])}, allowed is the name of a *.pace.csv"
                raise InputError(problem, field="pace", remedy="name the file in quotes")
            return Effort.pace_sheet(folder / data["pace"], **options)
        if "recording" in data:
            return _recorded(data["recording"], folder, source.under("recording"), options)
        return Effort.steady(**data)


def _recorded(value: Any, folder: Path, source: Source, options: dict[str, Any]) -> Effort:
    with source.blame():
        data = {"file": value} if isinstance(value, str) else _table(value, "recording", source)
        check_names(data, RECORDING_FIELDS, data)
        if not isinstance(data.get("file"), str):
            problem = f"is {shown(data.get('file'))}, needed is the name of a recording"
            raise InputError(problem, field="file", remedy='write file = "…"')
        columns: Any = data.get("columns")
        recording = read_recording(folder / data["file"], columns, data.get("delimiter"), data.get("track"))
        return Effort.from_recording(recording, grade=data.get("grade", "flat"), **options)


def _variants(value: Any, source: Source, folder: Path, build_device=None) -> tuple[Variant, ...]:
    if not isinstance(value, list) or not all(isinstance(entry, dict) for entry in value):
        problem = f"is {shown(value)}, needed are tables with a name each"
        raise InputError(problem, field="variant", remedy="write [[variant]] and name = …")
    found = []
    for k, entry in enumerate(value):
        with source.under("variant", k).blame():
            cooling = entry.get("cooling")
            if isinstance(cooling, list) and all(isinstance(one, dict) for one in cooling):
                entry = {**entry, "cooling": [expand_device(one, folder, build_device) for one in cooling]}
            if "wear" in entry:
                entry = _with_wear(dict(entry), folder, build_device)
            found.append(Variant(**entry))
    return tuple(found)


def _with_wear(entry: dict[str, Any], folder: Path, build_device) -> dict[str, Any]:
    """Return a variant in which the name of a wear sheet is replaced by what the sheet says, after its own devices."""
    name = entry.pop("wear")
    if not isinstance(name, str) or not name.strip():
        raise InputError(f"is {shown(name)}, allowed is the name of a *.wear.csv", field="wear",
                         remedy="name the file in quotes")  # fmt: skip
    own = entry.get("cooling", [])
    if isinstance(own, list):
        entry["cooling"] = [*own, *read_wear(folder / name.strip(), build_device, name.strip())]
    return entry
