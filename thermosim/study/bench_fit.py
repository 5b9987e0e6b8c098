"""Fit of a device card to bench readings: which of its numbers the scales can tell, and how well."""

import dataclasses
import math
from typing import NamedTuple

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import t as student

from thermosim.cooling.cards import kind_of
from thermosim.cooling.kinds import KINDS
from thermosim.cooling.rows import rows_of
from thermosim.engine.records import ON_SKIN
from thermosim.errors import InputError
from thermosim.inputs.mass_readings import MassRun
from thermosim.physics.air import dew_point, saturation_pressure
from thermosim.study.bench import Alone, Rest, alone

# Field of a kind -> what it stands for in the fit; a kind has at most one of each.
CONTACT = ("contact_conductance_W_m2K", "contact_W_m2K")
OUTER = ("cover_resistance_m2K_W", "cap_resistance_m2K_W", "outer_resistance_m2K_W")
HELD = ("held_water_kg",)
AIR, SKIN = "air_factor", "skin_offset_K"  # what else is free, about a prior
AIR_SD = 0.2  # the convective coefficient of a small thing in a room is known to about a fifth; own estimate
# A thermometer between skin and device is right to about half a kelvin; the model's own skin, where none was measured, to
# a few: own estimates.
MEASURED_SKIN_SD_K, MODELLED_SKIN_SD_K = 0.5, 3.0
HANDLING_G = 0.5  # what clings or falls off at a weighing, beside the rounding of the scale; own estimate
GRID_S = 30.0  # between which skin that is held runs straight
CONFIDENCE = 0.90
UNTOLD_SHARE = 0.5  # an interval that covers more than this of the card's range tells nothing
FINEST_SCALE_G = 0.1
STEP = 0.01  # of finite differences, in widths of the allowed range
RISE_ALLOWED_G = 2.0  # in scale resolutions
_COLUMNS = ("mass_kg", "dripped_kg", "ice_left_kg")


class Coordinate(NamedTuple):
    """A number that is fitted: a field or the factor on the air side, as its logarithm or as it is."""

    name: str
    start: float
    low: float
    high: float
    logarithm: bool
    prior_sd: float | None = None  # about the start, in the coordinate

    def inward(self, value: float) -> float:
        """Return the coordinate of a value."""
        return math.log(value) if self.logarithm else value

    def outward(self, coordinate: float) -> float:
        """Return the value of a coordinate."""
        return math.exp(coordinate) if self.logarithm else coordinate


class Bench(NamedTuple):
    """All that a fit needs: the device as described, the runs, their rooms."""

    device: object
    runs: tuple[MassRun, ...]
    rests: tuple[Rest, ...]
    resolution_kg: float
    drips_counted: tuple[bool, ...]
    insulation_W_m2K: float
    courses: tuple[tuple[np.ndarray, np.ndarray] | None, ...] = ()  # time [s] and skin [°C] where skin was measured


class Fitted(NamedTuple):
    """A fit: coordinates, where they ended, their covariance, what was left over."""

    coordinates: tuple[Coordinate, ...]
    centre: np.ndarray
    covariance: np.ndarray
    freedom: int
    rmse_kg: float
    told: dict[str, bool]

    @property
    def quantile(self) -> float:
        """Half-width of the 90 % interval in standard errors."""
        return float(student.ppf(0.5 + 0.5 * CONFIDENCE, max(self.freedom, 1)))

    def interval(self, name: str) -> tuple[float, float, float]:
        """Return value, low and high of a fitted number, inside what is allowed."""
        k = [one.name for one in self.coordinates].index(name)
        one, wide = self.coordinates[k], self.quantile * math.sqrt(self.covariance[k, k])
        ends = (
            one.outward(np.clip(self.centre[k] + side * wide, one.inward(one.low), one.inward(one.high))) for side in (-1, 1)
        )
        return (one.outward(self.centre[k]), *ends)


def fit_bench(bench: Bench) -> Fitted:
    """Fit contact, outer side and held water to the readings of all runs together.

    Least squares on masses, each run about its own mean (so that the tare does not count), on what dripped and on ice
    left; the coefficient of the air side is free within a fifth. Skin under the device is taken as read (or as modelled,
    where it was not); what it can be off is not fitted, since masses would be fitted to its noise, but widens every interval.
    Intervals are those of the linearised problem, with rounding and handling as error, or what is left over where that
    is more.

    Parameters
    ----------
    bench : Bench

    Returns
    -------
    Fitted

    Raises
    ------
    InputError
        A kind that lies on no skin, more ice left than was loaded, or masses that rise where no dew can form.
    """
    check_bench(bench)
    bench, coordinates = with_courses(bench), coordinates_of(bench)
    begin = np.array([one.inward(one.start) for one in coordinates])
    low, high = (np.array([one.inward(getattr(one, end)) for one in coordinates]) for end in ("low", "high"))
    free = np.array([one.name != SKIN for one in coordinates])
    error_kg = math.hypot(bench.resolution_kg / math.sqrt(12.0), 1e-3 * HANDLING_G)

    def residuals(point):
        off = left_over(bench, coordinates, point) / error_kg
        return np.append(off, [(point[k] - begin[k]) / one.prior_sd for k, one in enumerate(coordinates) if one.name == AIR])

    def of_free(inside):
        point = begin.copy()
        point[free] = inside
        return residuals(point)

    lower, upper = low[free], high[free]
    found = least_squares(
        of_free,
        np.clip(begin[free], lower + 1e-6, upper - 1e-6),
        bounds=(lower, upper),
        x_scale=upper - lower,
        jac=lambda inside: slopes(of_free, inside, lower, upper, both=False),
        xtol=1e-5,
        ftol=1e-7,
    )
    centre = begin.copy()
    centre[free] = found.x
    steep, data = slopes(residuals, centre, low, high), found.fun[:-1]
    freedom = max(int(data.size - free.sum() + 1 - len(bench.runs)), 1)  # the air side has its prior; each run its own tare
    spread = max(1.0, float((data**2).sum()) / freedom)
    weights = np.append(np.full(data.size, 1.0 / spread), 1.0)
    covariance = _covariance(steep, weights, free, high - low, coordinates)
    fitted = Fitted(tuple(coordinates), centre, covariance, freedom, float(np.sqrt((data**2).mean()) * error_kg), {})
    told = {one.name: _told(fitted, k) for k, one in enumerate(coordinates)}
    return fitted._replace(told=told)


def _covariance(steep, weights, free, widths, coordinates) -> np.ndarray:
    """Return the covariance: of what was fitted, by its slopes; of what was not, by its prior and what that moves."""
    weighted = steep[:, free].T * weights
    weak = np.diag(1.0 / widths[free] ** 2)  # what nothing tells is as wide as what is allowed
    fitted = np.linalg.inv(weighted @ steep[:, free] + weak)
    found = np.zeros((free.size, free.size))
    found[np.ix_(free, free)] = fitted
    for k in np.flatnonzero(~free):
        moved = np.zeros(free.size)
        moved[free], moved[k] = -fitted @ (weighted @ steep[:, k]), 1.0
        found += coordinates[k].prior_sd ** 2 * np.outer(moved, moved)
    return found


def with_courses(bench: Bench) -> Bench:
    """Return the bench with the course of skin in every run in which it was measured.

    Between its readings skin follows the course that the body gives it under the device as described, moved so that it
    passes through them: a straight line would miss the first minutes.
    """
    courses: list[tuple[np.ndarray, np.ndarray] | None] = []
    for run, rest in zip(bench.runs, bench.rests, strict=True):
        if run.on != "skin" or run.skin_temperature_C is None:
            courses.append(None)
            continue
        there = ~np.isnan(run.skin_temperature_C)
        read_s = 60.0 * run.time_min[there]
        times = np.union1d(np.arange(0.0, 60.0 * run.time_min[-1] + GRID_S, GRID_S), 60.0 * run.time_min)
        skin = alone(rows_of(bench.device), rest, times).skin_C
        off = run.skin_temperature_C[there] - np.interp(read_s, times, skin)
        courses.append((times, skin + np.interp(times, read_s, off)))
    return bench._replace(courses=tuple(courses))


def check_bench(bench: Bench) -> None:
    """Refuse what no device could have done."""
    rows = rows_of(bench.device)
    if (rows["place"] != ON_SKIN).any():
        raise InputError(
            f"is {bench.device.name!r}, allowed are devices that lie on skin: collars, caps, vests, pockets, cloths",
            field="kind",
            remedy="weigh a device that is worn",
        )
    loaded, coldest = float(rows["charge_kg"].sum()), float(rows["charge_C"].min())
    for run, rest in zip(bench.runs, bench.rests, strict=True):
        if run.ice_left_kg is not None and np.nanmax(run.ice_left_kg) > loaded + bench.resolution_kg:
            k = int(np.nanargmax(run.ice_left_kg))
            raise run.refuse(
                k,
                "ice_left_kg",
                f"is {run.ice_left_kg[k]:g} kg, but {loaded:g} kg was loaded",
                "correct the reading, or say what was loaded, e.g. --kind ice_collar:ice_kg=0.3",
            )
        vapour_kPa = float(rest.piece["vapour_kPa_0"][0])
        dry = vapour_kPa <= 0.0 or vapour_kPa < saturation_pressure(coldest)
        if dry and not (run.on == "skin" and rows["wicks"].any()):
            _refuse_rise(run, bench.resolution_kg, vapour_kPa, coldest)


def _refuse_rise(run: MassRun, resolution_kg: float, vapour_kPa: float, coldest_C: float) -> None:
    """Refuse a mass that rises above the lowest before it where the air has no water to give."""
    rises = run.mass_kg - np.minimum.accumulate(run.mass_kg)
    k = int(np.argmax(rises))
    if rises[k] > RISE_ALLOWED_G * resolution_kg + 1e-9:
        dew = f"its dew point is {dew_point(vapour_kPa):.1f} °C" if vapour_kPa > 0.01 else "it is dry"
        raise run.refuse(
            k,
            "mass_kg",
            f"is {run.mass_kg[k]:g} kg, {1e3 * rises[k]:.3g} g more than before, but no dew can form "
            f"from this air on a device of {coldest_C:g} °C ({dew})",
            "check the scales, the room's humidity, or whether water was added",
        )


def coordinates_of(bench: Bench) -> list[Coordinate]:
    """Return what can be fitted: fields of the device's card that change its rows; then the air side, and skin."""
    device = bench.device
    card, plain, found = kind_of(kind_name(device)).card, rows_of(device), []
    for names, logarithm in ((CONTACT, True), (OUTER, True), (HELD, False)):
        for name in names:
            entry = card.get(name)
            if entry is None or not hasattr(device, name):
                continue
            start = float(getattr(device, name))
            other = entry.high if start < entry.high else entry.low
            if (rows_of(dataclasses.replace(device, **{name: other})) == plain).all():
                continue  # e.g. the cover of a bare collar
            found.append(Coordinate(name, start, entry.low, entry.high, logarithm))
    found.append(Coordinate(AIR, 1.0, math.exp(-4.0 * AIR_SD), math.exp(4.0 * AIR_SD), True, AIR_SD))
    on_skin = [run for run in bench.runs if run.on == "skin"]
    if on_skin:
        measured = all(run.skin_temperature_C is not None for run in on_skin)
        sd = MEASURED_SKIN_SD_K if measured else MODELLED_SKIN_SD_K
        found.append(Coordinate(SKIN, 0.0, -4.0 * sd, 4.0 * sd, False, sd))
    return found


def kind_name(device) -> str:
    """Return the kind of a device by the name that files use."""
    return next(name for name, kind in KINDS.items() if type(device) is kind)


def device_at(bench: Bench, coordinates, point):
    """Return the device, the factor on its air side, and the offset of skin [K] at a point of the fit."""
    values = {one.name: one.outward(place) for one, place in zip(coordinates, point, strict=True)}
    factor, offset = values.pop(AIR), values.pop(SKIN, 0.0)
    return dataclasses.replace(bench.device, **values), factor, offset


def run_at(bench: Bench, k: int, coordinates, point, times_s) -> Alone:
    """Return what the device does in run ``k`` at a point of the fit."""
    device, factor, offset_K = device_at(bench, coordinates, point)
    rows, run, rest = rows_of(device), bench.runs[k], bench.rests[k]
    if run.on == "dummy":
        return alone(rows, rest, times_s, insulation_W_m2K=bench.insulation_W_m2K, air_factor=factor)
    course = bench.courses[k]
    if course is None and offset_K == 0.0:
        return alone(rows, rest, times_s, air_factor=factor)
    times = np.union1d(times_s, np.arange(0.0, times_s[-1], GRID_S))
    skin = alone(rows, rest, times, air_factor=factor).skin_C if course is None else np.interp(times, *course)
    seen = alone(rows, rest, times, skin_C=np.maximum(skin + offset_K, 0.0), air_factor=factor)
    return Alone(*(values[np.searchsorted(times, times_s)] for values in seen))


def left_over(bench: Bench, coordinates, point) -> np.ndarray:
    """Return reading less model for every reading [kg]; masses and drips of a run about their own mean."""
    found = []
    for k, run in enumerate(bench.runs):
        # a run whose first reading is late still began with a fresh device
        times = np.unique(np.r_[0.0, 60.0 * run.time_min])
        seen = run_at(bench, k, coordinates, point, times)
        at = np.searchsorted(times, 60.0 * run.time_min)
        mass = seen.mass_kg + (seen.dripped_kg if bench.drips_counted[k] else 0.0)
        for column, model in zip(_COLUMNS, (mass, seen.dripped_kg, seen.ice_kg), strict=True):
            readings = getattr(run, column)
            if readings is None:
                continue
            there = ~np.isnan(readings)
            off = readings[there] - model[at][there]
            found.append(off - off.mean() if column == "mass_kg" else off)
    return np.concatenate(found)


def slopes(function, point, low, high, *, both: bool = True) -> np.ndarray:
    """Return the derivatives of a vector function by differences that stay inside the bounds, a column a coordinate."""
    columns, here = [], None if both else function(point)
    for k in range(point.size):
        up, down, aside = point.copy(), point.copy(), STEP * (high[k] - low[k])
        up[k] = min(point[k] + aside, high[k])
        if both or up[k] - point[k] < 0.5 * aside:
            down[k] = max(point[k] - aside, low[k])
        before = function(down) if here is None or down[k] != point[k] else here
        columns.append((function(up) - before) / (up[k] - down[k]))
    return np.column_stack(columns)


def _told(fitted: Fitted, k: int) -> bool:
    """Return whether the readings tell a number: its interval leaves out most of what is allowed."""
    one = fitted.coordinates[k]
    _, low, high = fitted.interval(one.name)
    if one.prior_sd is not None:
        return True
    whole = one.inward(one.high) - one.inward(one.low)
    return (one.inward(high) - one.inward(low)) / whole < UNTOLD_SHARE


def resolution_of(runs) -> float:
    """Return the step of the scale [kg] that the readings show: the coarsest that all of them are multiples of."""
    grams = np.concatenate([np.round(1e3 * run.mass_kg, 3) for run in runs])
    for step in (50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1):
        if np.allclose(np.round(grams / step) * step, grams, atol=1e-6) and np.unique(grams).size > 1:
            return 1e-3 * step
    return 1e-3 * FINEST_SCALE_G
