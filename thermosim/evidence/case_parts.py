"""What a case says of a study: source, people and their clothes, blanks, phases, cooling."""

from dataclasses import dataclass, fields

from thermosim.errors import InputError
from thermosim.evidence import case_fields as f
from thermosim.evidence import case_record as r
from thermosim.inputs.checks import shown, unknown_name


@dataclass(frozen=True, kw_only=True)
class Source(r.Record):
    """Where the numbers come from: ``status`` says whether abstract or text was seen."""

    citation: str = r.text(longest=400)
    status: str = r.choice(f.STATUSES)
    note: str = r.text("", longest=2000)


@dataclass(frozen=True, kw_only=True)
class Clothes(r.Record):
    """Clothing as numbers over the whole body, effective at running speed."""

    covered_fraction: float | str = r.number(r.MISSING, blank=True)
    insulation_clo: float | str = r.number(r.MISSING, blank=True)
    vapour_resistance_m2Pa_W: float | str = r.number(r.MISSING, blank=True)


@dataclass(frozen=True, kw_only=True)
class Subjects(r.Record):
    """The people as means; None leaves a field to the defaults of a runner card.

    ``assumed`` names the fields that the paper does not state.
    """

    n: int = r.whole(r.MISSING)
    mass_kg: float | str = r.number(r.MISSING, blank=True)
    height_m: float | str = r.number(r.MISSING, blank=True)
    sex: str = r.choice(f.SEXES)
    age_y: float | str | None = r.number(blank=True)
    body_fat_pct: float | str | None = r.number(blank=True)
    vo2max_mL_kg_min: float | str | None = r.number(blank=True)
    resting_heart_rate_bpm: float | str | None = r.number(blank=True)
    maximum_heart_rate_bpm: float | str | None = r.number(blank=True)
    heat_days: float | str | None = r.number(blank=True)
    maximum_sweat_rate_L_h: float | str | None = r.number(blank=True)
    economy_factor: float | str | None = r.number(blank=True)
    clothing: str | Clothes = r.choice_or(f.KITS, Clothes)
    assumed: tuple[str, ...] = r.words()

    def agree(self) -> None:
        """Refuse an assumed field that is unknown or has no value."""
        names = [one.name for one in fields(self) if one.name != "assumed"]
        for name in self.assumed:
            if name not in names:
                found = unknown_name(name, names)
                problem = f"has {shown(name)}, which is not a field of the subjects"
                raise InputError(problem, field="assumed", remedy=found.remedy)
            if getattr(self, name) is None:
                problem = f"has {name}, for which no value is given"
                raise InputError(problem, field="assumed", remedy=f"add {name} or take it off the list")


@dataclass(frozen=True, kw_only=True)
class Blank(r.Record):
    """A condition that the paper leaves blank, with the range it may lie in."""

    name: str = r.text(longest=40)
    low: float = r.number(r.MISSING)
    value: float = r.number(r.MISSING)
    high: float = r.number(r.MISSING)
    why: str = r.text(longest=1000)

    def agree(self) -> None:
        """Refuse a name that cannot be referred to, and a centre outside its range."""
        if not f.is_blank(f"?{self.name}"):
            problem = f"is {shown(self.name)}, allowed are letters, digits, spaces, _ and -"
            raise InputError(problem, field="name", remedy='choose a name that can stand behind "?"')
        if not (self.low < self.high and self.low <= self.value <= self.high):
            between = f"low ({shown(self.low)}) to high ({shown(self.high)}) with low below high"
            problem = f"is {shown(self.value)}, allowed is {between}"
            raise InputError(problem, field="value", remedy="sort low, value and high")


@dataclass(frozen=True, kw_only=True)
class Start(r.Record):
    """Temperature to which the settled body is moved before the clock starts."""

    site: str = r.choice(f.SITES)
    temperature_C: float | str = r.number(r.MISSING, blank=True)


@dataclass(frozen=True, kw_only=True)
class Until(r.Record):
    """Stop rule: the phase ends when the site passes above or below a temperature."""

    site: str = r.choice(f.SITES)
    above_C: float | None = r.number()
    below_C: float | None = r.number()

    def agree(self) -> None:
        """Refuse no level and two levels."""
        r.exactly_one(self, ("above_C", "below_C"), "stop level")


@dataclass(frozen=True, kw_only=True)
class Phase(r.Record):
    """One stretch of time: what people did, how hard, how long, in which air."""

    activity: str = r.choice(f.ACTIVITIES)
    minutes: float = r.number(r.MISSING)
    air_temperature_C: float | str = r.number(r.MISSING, blank=True)
    label: str = r.text("", longest=40)
    preparation: bool = r.flag(False)
    heat_production_W: float | str | None = r.number(blank=True)
    metabolic_power_W: float | str | None = r.number(blank=True)
    vo2max_pct: float | str | None = r.number(blank=True)
    oxygen_uptake_L_min: float | str | None = r.number(blank=True)
    efficiency: float | str | None = r.number(blank=True)
    speed_m_s: float | str | None = r.number(blank=True)
    grade_pct: float | str | None = r.number(blank=True)
    until: Until | None = None
    relative_humidity_pct: float | str | None = r.number(blank=True)
    vapour_pressure_kPa: float | str | None = r.number(blank=True)
    dew_point_C: float | str | None = r.number(blank=True)
    wet_bulb_C: float | str | None = r.number(blank=True)
    outdoors: bool = r.flag(False)
    air_speed_m_s: float | str | None = r.number(blank=True)
    wind_speed_m_s: float | str | None = r.number(blank=True)
    wind_from: str | None = r.choice(f.WINDS, None)
    mean_radiant_temperature_C: float | str | None = r.number(blank=True)
    solar_W_m2: float | str = r.number(0.0, blank=True)

    def agree(self) -> None:
        """Refuse two efforts, no effort, two humidities, and wind where there is none."""
        if self.activity in f.RESTS:
            r.none_of(self, (*f.POWERS, "efficiency", "speed_m_s", "grade_pct"), f"with activity {self.activity}, which is rest")
        elif self.activity in f.MOVES:
            if self.speed_m_s is None:
                raise r.absent(self.owner, "speed_m_s")
            r.at_most_one(self, f.POWERS, "effort")
        else:
            r.none_of(self, ("speed_m_s", "grade_pct"), f"with activity {self.activity}, which stays in its place")
            r.exactly_one(self, f.POWERS, "effort")
        r.exactly_one(self, f.HUMIDITIES, "humidity")
        if self.outdoors:
            r.none_of(self, ("air_speed_m_s",), "outdoors, where wind and speed make the air speed")
            wanted: tuple[str, ...] = ("wind_speed_m_s", "wind_from")
        else:
            r.none_of(self, ("wind_speed_m_s", "wind_from"), "indoors, where air_speed_m_s is the whole air speed")
            wanted = ("air_speed_m_s",)
        for name in wanted:
            if getattr(self, name) is None:
                raise r.absent(self.owner, name)


_COOLING_FIELDS = {  # kind -> needed, optional
    "drink": (("temperature_C", "at_min"), ("mass_g_kg", "mass_kg", "ice_share")),
    "water_on_skin": (("mass_kg", "temperature_C", "segments", "at_min"), ()),
    "bath": (("temperature_C", "segments", "contact_W_m2K", "phase"), ()),
}


@dataclass(frozen=True, kw_only=True)
class Cooling(r.Record):
    """A drink (whole mass over all its minutes), water on the skin (mass each time), or a bath (for one phase)."""

    kind: str = r.choice(f.WATERS)
    temperature_C: float | str = r.number(r.MISSING, blank=True)
    mass_g_kg: float | str | None = r.number(blank=True)
    mass_kg: float | str | None = r.number(blank=True)
    ice_share: float | str | None = r.number(blank=True)
    at_min: tuple[float, ...] = r.minute_list()
    segments: tuple[str, ...] | str = r.segments()
    contact_W_m2K: float | str | None = r.number(blank=True)
    phase: str | None = r.text(None, longest=40)

    @property
    def owner(self) -> str:
        """The kind: a bath has another range of temperatures than a drink."""
        return self.kind if isinstance(self.kind, str) else "cooling"

    def agree(self) -> None:
        """Refuse fields of another kind, and missing ones of this kind."""
        needed, optional = _COOLING_FIELDS[self.kind]
        others = [one.name for one in fields(self) if one.name not in (*needed, *optional, "kind")]
        r.none_of(self, tuple(others), f"with kind {self.kind}")
        for name in needed:
            if getattr(self, name) in (None, ()):
                raise r.absent(self.owner, name)
        if self.kind == "drink":
            r.exactly_one(self, ("mass_g_kg", "mass_kg"), "mass")
