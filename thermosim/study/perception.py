"""Perception, apart from the heat balance: what a run may feel like, with its own sources. Nothing here enters core.

Every function reads finished runs (Datasets) and changes none. A number stands only where a published relation gives one:
effort ratings, as classes of the share of maximal oxygen uptake. Of thermal sensation no relation with a number was found
for running in the heat, so it is told as a direction: cooler, warmer, no difference to be expected, cannot tell.

The words of the sources, each seen as an abstract or a table, are in :data:`SOURCES`.
"""

import json
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
import xarray as xr

from thermosim import cautions
from thermosim.dataset import HALF_WIDTH_90
from thermosim.errors import InputError
from thermosim.parameters import SEGMENTS, value
from thermosim.variables import OUTPUTS

COOLER, WARMER, EASIER, HARDER = "cooler", "warmer", "easier", "harder"
NO_DIFFERENCE, CANNOT_TELL = "no difference to be expected", "cannot tell"
CHANGE = {COOLER: -1, NO_DIFFERENCE: 0, WARMER: 1, CANNOT_TELL: 2}  # how directions stand in a Dataset

SCALE_LOW, SCALE_HIGH = 6.0, 20.0
SCALE_WORDS = "category scale 6 to 20 of the source"
# Share of maximal oxygen uptake, from and to [%], and effort ratings, from and to: light, moderate, vigorous, near maximal.
CLASSES = ((37.0, 45.0, 9.0, 11.0), (46.0, 63.0, 12.0, 13.0), (64.0, 90.0, 14.0, 17.0), (91.0, 100.0, 18.0, 20.0))
LONGEST_MIN = 60.0  # the older edition of that table is for activity of up to 60 min (seen in its footnote)
CALLED_EARLY_MIN = 30.0  # trials of up to this length saw no effect of skin temperature on effort, or a small one
STEADY_SHARE_MIN = 0.05  # uptake that changes faster than this a minute is not the steady work of the table
RATE_MIN = 5.0  # span over which the rate of mean skin temperature is taken
EQUAL_CORE_K = 0.1  # core is printed to this
MOST_OF_THE_TIME = 0.5  # a rate that differs for less than this share of a run decides nothing of the whole
MOST_NAMED = 4  # segments that are named one by one

SOURCES = {
    "effort and intensity":
        "Garber et al. 2011, Med Sci Sports Exerc 43:1334, table of intensity (seen as adapted in Br J Sports Med)",
    "effort, scatter":
        "Glass, Knowlton & Becque 1994, Eur J Appl Physiol 68:519: 16.3 ± 1.9, 16.4 ± 2.2 and 16.2 ± 2.0 in cool, mild and hot "
        "air, 30 min at 80 % of maximal uptake, mean skin 31.7, 34.6 and 35.9 °C (authors from memory)",
    "effort and time":
        "Crewe, Tucker & Noakes 2008, Eur J Appl Physiol 103:569: at fixed work ratings rise with time, faster in hot air",
    "effort in 30 min of heat":
        "trials of about 30 min disagree: ratings are higher in hot air (a trial with false air temperatures, Physiol Behav, "
        "October 2018) or equal (Glass et al. 1994; Levels et al. 2012, Eur J Appl Physiol 112)",
    "sensation and skin":
        "Schlader et al. 2011, Eur J Appl Physiol 111:1631: thermal sensation followed mean skin temperature",
    "sensation and rate":
        "Percept Psychophys 3:81, 1968 (page from memory): warm and cool thresholds grow when skin changes slower than 0.1 °C/s",
    "sensation and wettedness":
        "Vargas et al. 2018, J Appl Physiol 124: people whose skin got wetter, but no warmer, cooled themselves; wettedness "
        "weighed more in that (52 %) than core and skin temperature",
    "local cooling":
        "with a collar the neck felt cooler and overall sensation did not change (Tyler & Sunderland 2011, Med Sci Sports Exerc "
        "43:2388; Sunderland et al. 2015, Front Physiol 6:314), or it fell (Tyler & Sunderland 2008, congress abstract), as with "
        "a cooled face (Schlader et al. 2011, Physiol Behav 103:217)",
    "local cooling and effort":
        "effort ratings fell with a cooled face (Miyazawa et al. 2021, J Physiol Anthropol 40: 11.6 instead of 14.2 at 20 min) "
        "and a collar (Sunderland et al. 2015), not with a collar (Tyler & Sunderland 2011) or wrist bands (Denby et al. 2020)",
    "tolerance":
        "Tyler & Sunderland 2011, J Athl Train 46:61: with a cold collar eight men ran 13.5 ± 3.8 % longer at 70 % of maximal "
        "uptake in the heat, and stopped at the same ratings of effort and thermal sensation, 0.4 °C hotter (rectal)",
}  # fmt: skip


@dataclass(frozen=True)
class Reason:
    """One input that differs: which, by how much, in which direction that points, and who published it."""

    input: str
    text: str
    sensation: str
    effort: str
    source: str


@dataclass(frozen=True)
class Contrast:
    """What one run may feel like against another.

    Attributes
    ----------
    sensation, effort : str
        Overall directions.
    local : dict
        Place where either run wears something -> direction of the skin there.
    reasons : tuple of Reason
    core_K : float
        Core at the end of the time that both ran, less that of the other run [K].
    cautions : tuple of str
    minutes : float
        Time that both ran [min].
    """

    sensation: str
    effort: str
    local: dict[str, str]
    reasons: tuple[Reason, ...]
    core_K: float
    cautions: tuple[str, ...]
    minutes: float

    def to_dict(self) -> dict[str, Any]:
        """Return all fields as plain values."""
        return {**asdict(self), "reasons": [asdict(one) for one in self.reasons], "cautions": list(self.cautions)}


def relative_intensity(ds) -> np.ndarray:
    """Return oxygen uptake over its maximum [1] at each time of a run.

    Raises
    ------
    InputError
        The Dataset is no single run with its inputs.
    """
    if "inputs" not in ds.attrs or "oxygen_uptake" not in ds or ds["oxygen_uptake"].dims != ("time",):
        raise InputError(
            "is no single run with its inputs", field="dataset", remedy="give what simulate or simulate_session returns"
        )
    runner = json.loads(ds.attrs["inputs"])["runner"]
    maximal_L_min = float(runner["vo2max_mL_kg_min"]) * float(runner["mass_kg"]) / 1000.0
    return ds["oxygen_uptake"].values / maximal_L_min


def effort_class(share: float) -> tuple[float, float]:
    """Return the effort ratings, from and to, that go with a share of maximal oxygen uptake.

    Parameters
    ----------
    share : float
        Oxygen uptake over its maximum [1]; published for 0.37 to 1.00, NaN outside.

    References
    ----------
    Garber et al. 2011, Med Sci Sports Exerc 43:1334, table of intensity; ratings on a category scale from 6 to 20.

    Examples
    --------
    >>> effort_class(0.80)
    (14.0, 17.0)
    >>> effort_class(0.30)
    (nan, nan)
    """
    per_cent = np.round(100.0 * share)
    for low, high, from_rating, to_rating in CLASSES:
        if low <= per_cent <= high:
            return from_rating, to_rating
    return float("nan"), float("nan")


def effort(ds) -> xr.Dataset:
    """Return the effort ratings that a published relation gives for a run, over time.

    Parameters
    ----------
    ds : xarray.Dataset
        One run, as ``simulate`` returns it.

    Returns
    -------
    xarray.Dataset
        ``relative_intensity``; ``effort_rating_low`` and ``_high``: the published class for a group; ``effort_rating_one_low``
        and ``_one_high``: 90 % band of one runner, from the published scatter; ``effort_outside``: 1 where the share of
        maximal uptake is outside the table or not steady (then there is no number) or the run is longer than it was made
        for. The relation knows nothing of heat, skin or time; at fixed work ratings rise with time, and faster in hot air.
    """
    share, minutes = relative_intensity(ds), ds["time"].values / 60.0
    steady = np.abs(np.gradient(share, minutes)) < STEADY_SHARE_MIN
    low, high = np.array([effort_class(one if still else np.nan) for one, still in zip(share, steady, strict=True)]).T
    margin = HALF_WIDTH_90 * value("effort_rating_sd")
    found = xr.Dataset(coords={"time": ds["time"]})
    _put(found, "relative_intensity", share, SOURCES["effort and intensity"])
    _put(found, "effort_rating_low", low, SOURCES["effort and intensity"])
    _put(found, "effort_rating_high", high, SOURCES["effort and intensity"])
    _put(found, "effort_rating_one_low", np.maximum(low - margin, SCALE_LOW), SOURCES["effort, scatter"])
    _put(found, "effort_rating_one_high", np.minimum(high + margin, SCALE_HIGH), SOURCES["effort, scatter"])
    outside = (np.isnan(low) | (minutes > LONGEST_MIN)).astype(np.int64)
    _put(found, "effort_outside", outside, SOURCES["effort and intensity"])
    found["effort_outside"].attrs |= {"flag_values": [0, 1], "flag_meanings": "inside outside"}
    for name in ("effort_rating_low", "effort_rating_high", "effort_rating_one_low", "effort_rating_one_high"):
        found[name].attrs |= {"scale_name": SCALE_WORDS, "scale_low": SCALE_LOW, "scale_high": SCALE_HIGH}
    return found


def thermal_sensation(ds) -> xr.Dataset:
    """Return the direction of thermal sensation against the start of the run, over time; no published number was found.

    Parameters
    ----------
    ds : xarray.Dataset
        One run, as ``simulate`` returns it.

    Returns
    -------
    xarray.Dataset
        ``mean_skin_rate`` over the last 5 min, and ``thermal_sensation_change`` as flags: from mean skin temperature and
        its rate, *cannot tell* where they point in opposite ways; from wettedness where skin is as warm as at the start.
        Poured water wets skin without sweat, so a run with water gets *cannot tell* there.
    """
    skin, wet = ds["mean_skin_temperature"].values, ds["skin_wettedness"].values
    rate = skin_rate(ds["time"].values, skin)
    words = [
        _sensation(warmer - skin[0], slope, wetter - wet[0], _takes_water(ds))
        for warmer, slope, wetter in zip(skin, rate, wet, strict=True)
    ]
    found = xr.Dataset(coords={"time": ds["time"]})
    _put(found, "mean_skin_rate", rate, SOURCES["sensation and rate"])
    _put(found, "thermal_sensation_change", np.array([CHANGE[word] for word in words]), SOURCES["sensation and skin"])
    meanings = " ".join(word.replace(" ", "_") for word in CHANGE)
    found["thermal_sensation_change"].attrs |= {"flag_values": list(CHANGE.values()), "flag_meanings": meanings}
    return found


def with_perception(ds) -> xr.Dataset:
    """Return a run with :func:`effort` and :func:`thermal_sensation` beside its other variables; the run is not changed."""
    return ds.merge(effort(ds)).merge(thermal_sensation(ds)).assign_attrs(ds.attrs)


def skin_rate(time_s: np.ndarray, skin_C: np.ndarray) -> np.ndarray:
    """Return the rate of skin temperature over the last 5 min, or since the start [°C/min]; 0 at the start."""
    before = np.maximum(time_s - 60.0 * RATE_MIN, time_s[0])
    minutes = (time_s - before) / 60.0
    change = skin_C - np.interp(before, time_s, skin_C)
    # less than a minute of run is no span to take a rate over
    return np.where(minutes < 1.0, 0.0, change / np.maximum(minutes, 1.0))


def _put(found: xr.Dataset, name: str, values: np.ndarray, source: str) -> None:
    entry = OUTPUTS[name]
    found[name] = ("time", values, {"units": entry.unit, "long_name": entry.long_name, "source": source})


def _side(difference: float, least: float, below: str, above: str) -> str:
    if abs(difference) < least:
        return NO_DIFFERENCE
    return above if difference > 0.0 else below


def _agree(words: list[str]) -> str:
    """Return what several directions say together: opposite ones cannot be told, a definite one outweighs a doubt."""
    definite = set(words) - {NO_DIFFERENCE, CANNOT_TELL}
    if len(definite) == 1:
        return definite.pop()
    return CANNOT_TELL if definite or CANNOT_TELL in words else NO_DIFFERENCE


def _takes_water(ds) -> bool:
    """Return whether water is poured over the runner, or the runner bathes: devices that touch skin but are not worn."""
    worn = {name: bool(np.isfinite(ds["device_skin_temperature"].sel(device=name)).any()) for name in _devices(ds)}
    return not all(worn.values())


def _sensation(skin_K: float, rate_K_min: float, wetter: float, water: bool) -> str:
    words = [
        _side(skin_K, value("felt_mean_skin_K"), COOLER, WARMER),
        _side(rate_K_min, value("felt_skin_rate_K_min"), COOLER, WARMER),
    ]
    word = _agree(words)
    return _of_wetter(wetter, water) if word == NO_DIFFERENCE else word


def _of_wetter(wetter: float, water: bool) -> str:
    word = _side(wetter, value("felt_wettedness"), COOLER, WARMER)
    return CANNOT_TELL if water and word != NO_DIFFERENCE else word


# --- two runs ------------------------------------------------------------------------------------------------------


def contrast(ds, against) -> Contrast:
    """Return what a run may feel like against another: directions, the inputs that differ, and what to beware of.

    Parameters
    ----------
    ds, against : xarray.Dataset
        Two runs, as ``simulate`` returns them, of one runner; compared over the time that both ran.
    """
    end_s = min(float(ds["time"][-1]), float(against["time"][-1]))
    times = ds["time"].values[ds["time"].values <= end_s + 1e-9]
    pairs = {name: (_at(ds, name, times), _at(against, name, times)) for name in ("mean_skin_temperature", "skin_wettedness")}
    local = _under_devices(ds, against, times)
    skin = _of_mean_skin(times, *pairs["mean_skin_temperature"])
    reasons = [
        *skin,
        *_of_wettedness(times, *pairs["skin_wettedness"], bool(skin), _takes_water(ds) or _takes_water(against)),
        *(reason for _, reason in local.values()),
        *_of_intensity(ds, against, times),
        *_of_time(ds, against),
    ]
    sensation = _agree([reason.sensation for reason in reasons])
    effort_word = _agree([reason.effort for reason in reasons])
    under = {place: word for place, (word, _) in local.items()}
    core_K = float(_at(ds, "core_temperature", times)[-1] - _at(against, "core_temperature", times)[-1])
    said = _beware(sensation, effort_word, under, core_K)
    return Contrast(sensation, effort_word, under, tuple(reasons), core_K, said, end_s / 60.0)


def _at(ds, name: str, times: np.ndarray) -> np.ndarray:
    return np.interp(times, ds["time"].values, ds[name].values)


def _mean(times: np.ndarray, line: np.ndarray) -> float:
    """Return the mean over time of a line, also where steps are unequal."""
    if times.size < 2:
        return float(line[0])
    return float(np.sum(0.5 * (line[1:] + line[:-1]) * np.diff(times)) / (times[-1] - times[0]))


def _by(difference: float, unit: str, decimals: int, below: str, above: str) -> str:
    return f"{abs(difference):.{decimals}f} {unit} {above if difference > 0.0 else below}".replace("  ", " ")


def _of_mean_skin(times, own, other) -> list[Reason]:
    found = []
    level = _mean(times, own - other)
    word = _side(level, value("felt_mean_skin_K"), COOLER, WARMER)
    if word != NO_DIFFERENCE:
        long_enough = times[-1] / 60.0 > CALLED_EARLY_MIN
        effort_word = _side(level, 0.0, EASIER, HARDER) if long_enough else CANNOT_TELL
        basis = SOURCES["effort and time" if long_enough else "effort in 30 min of heat"]
        text = f"mean skin is {_by(level, '°C', 1, 'cooler', 'warmer')}"
        found.append(Reason("mean skin temperature", text, word, effort_word, f"{SOURCES['sensation and skin']}. {basis}"))
    rates = skin_rate(times, own) - skin_rate(times, other)
    largest = float(rates[np.argmax(np.abs(rates))])
    word = _side(largest, value("felt_skin_rate_K_min"), COOLER, WARMER)
    if word != NO_DIFFERENCE:
        minute = times[np.argmax(np.abs(rates))] / 60.0
        text = f"about minute {minute:.0f} mean skin changes by {abs(largest):.1f} °C/min {'less' if largest < 0 else 'more'}"
        if np.mean(np.abs(rates) >= value("felt_skin_rate_K_min")) < MOST_OF_THE_TIME:
            text, word = f"{text}, for a while: {word} then, not throughout", CANNOT_TELL
        found.append(Reason("rate of mean skin temperature", text, word, NO_DIFFERENCE, SOURCES["sensation and rate"]))
    return found


def _of_wettedness(times, own, other, skin_differs: bool, water: bool) -> list[Reason]:
    """Return the reason that lies in wettedness; it points nowhere where skin temperature differs too."""
    wetter = _mean(times, own - other)
    if abs(wetter) < value("felt_wettedness"):
        return []
    text = f"skin is {'wetter' if wetter > 0.0 else 'drier'}: wettedness differs by {abs(wetter):.2f}"
    word = NO_DIFFERENCE if skin_differs else _of_wetter(wetter, water)
    return [Reason("skin wettedness", text, word, NO_DIFFERENCE, SOURCES["sensation and wettedness"])]


def _devices(ds) -> dict[str, tuple[str, ...]]:
    """Return the devices of a run that touch skin, with the segments they touch."""
    found = json.loads(ds.attrs.get("device_segments", "{}"))
    return {device: tuple(segments) for device, segments in found.items() if segments}


def _place(segments: tuple[str, ...]) -> str:
    """Return the name of a place, e.g. ``head, face and neck``; many segments are only counted."""
    if len(segments) > MOST_NAMED:
        return f"{len(segments)} body parts"
    names = [name.replace("_", " ") for name in segments]
    return " and ".join(filter(None, [", ".join(names[:-1]), names[-1]]))


def _felt_skin(ds, segments: tuple[str, ...], times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return skin temperature at a place [°C], under a device while one is worn there, and whether one is."""
    where = [SEGMENTS.index(name) for name in segments]
    skin = np.interp(times, ds["time"].values, ds["skin_temperature"].values[:, where].mean(axis=1))
    worn = np.zeros(len(times), dtype=bool)
    nearest = np.searchsorted(ds["time"].values, times, side="right") - 1
    for device, touched in _devices(ds).items():
        if set(touched) & set(segments):
            patch = ds["device_skin_temperature"].sel(device=device).values[nearest]
            there = np.isfinite(patch)
            skin = np.where(there, np.where(worn, np.minimum(skin, patch), patch), skin)
            worn |= there
    return skin, worn


def _under_devices(ds, against, times) -> dict[str, tuple[str, Reason]]:
    """Return, for each place where either run wears something that makes a difference, its direction and the reason."""
    found = {}
    devices = {**_devices(against), **_devices(ds)}
    for segments in dict.fromkeys(devices.values()):
        names = " and ".join(name.replace("_", " ") for name, touched in devices.items() if touched == segments)
        place = _place(segments)
        (own, worn), (other, worn_there) = (_felt_skin(run, segments, times) for run in (ds, against))
        when = worn | worn_there
        if when.any():
            difference, span = float(np.mean((own - other)[when])), "while worn"
        else:  # poured water and baths are not worn: the largest difference they make
            at = int(np.argmax(np.abs(own - other)))
            difference, span = float((own - other)[at]), f"about minute {times[at] / 60.0:.0f}"
        word = _side(difference, value("felt_local_skin_K"), COOLER, WARMER)
        if word != NO_DIFFERENCE:
            whose = "" if segments in _devices(ds).values() else " of the other run"
            text = f"{names}{whose}: skin there ({place}) is {_by(difference, '°C', 0, 'cooler', 'warmer')} {span}"
            source = f"{SOURCES['local cooling']}; {SOURCES['local cooling and effort']}"
            found[place] = word, Reason("local skin temperature", text, CANNOT_TELL, CANNOT_TELL, source)
    return found


def _of_intensity(ds, against, times) -> list[Reason]:
    lines = [np.interp(times, run["time"].values, relative_intensity(run)) for run in (ds, against)]
    more = _mean(times, lines[0] - lines[1])
    word = _side(more, value("felt_intensity_share"), EASIER, HARDER)
    if word == NO_DIFFERENCE:
        return []
    text = f"oxygen uptake is {_by(100.0 * more, '% of its maximum', 0, 'lower', 'higher')}"
    return [Reason("relative intensity", text, NO_DIFFERENCE, word, SOURCES["effort and intensity"])]


def _of_time(ds, against) -> list[Reason]:
    longer = float(ds["time"][-1] - against["time"][-1]) / 60.0
    if abs(longer) < 1.0:
        return []
    text = f"the run is {_by(longer, 'min', 0, 'shorter', 'longer')}"
    return [Reason("time", text, NO_DIFFERENCE, HARDER if longer > 0.0 else EASIER, SOURCES["effort and time"])]


def _beware(sensation: str, effort_word: str, local: dict[str, str], core_K: float) -> tuple[str, ...]:
    """Return the cautions of a run that feels cooler or easier while core is no lower: it may end higher."""
    cooled = [place for place, word in local.items() if word == COOLER]
    feels = ["cooler"] if sensation == COOLER else [f"cooler at the {place}" for place in cooled]
    feels += ["easier"] if effort_word == EASIER else []
    if not feels or core_K < -EQUAL_CORE_K:
        return ()
    equal = "equal" if core_K <= EQUAL_CORE_K else "higher"
    difference = f"{core_K:+.2f}".replace("-", "\u2212")
    said = [f"It may feel {' and '.join(feels)} while core is {equal} ({difference} °C). {cautions.PERCEPTION_APART}"]
    if "neck" in cooled:  # the trial was one of a collar
        said.append(f"{SOURCES['tolerance']}.")
    return tuple(said)
