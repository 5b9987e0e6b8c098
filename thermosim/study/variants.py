"""What one variant of a session comes to: core, limit, heart, sweat, and what its devices took, over the drawn runners."""

import numpy as np

from thermosim.constants import LATENT_HEAT_SWEAT
from thermosim.cooling import flatten_cooling
from thermosim.cooling.rows import ice_and_water
from thermosim.engine import batch as columns
from thermosim.engine import integrate as kernel
from thermosim.engine import nodes as n
from thermosim.engine.pacing import DONE_S
from thermosim.inputs.flat import runner_record
from thermosim.inputs.paced_flat import is_by_distance, is_paced
from thermosim.story import worn_of
from thermosim.study.ensemble import Members
from thermosim.study.ice_left import BODY_HEAT_J_KGK

RARELY = 0.05  # share of runs in which something may happen and still be called rare


def interval(values) -> dict | None:
    """Return median and 90 % interval; None where nothing can be said.

    Infinite values (never) are kept in the order; a quantile that falls among them is None.
    """
    values = np.asarray(values, dtype=float)
    values = values[~np.isnan(values)]
    if values.size == 0:
        return None
    found = np.quantile(
        values, [0.5, 0.05, 0.95], method="inverted_cdf" if np.isinf(values).any() else "linear"
    )
    return {
        name: (float(v) if np.isfinite(v) else None)
        for name, v in zip(("median", "low", "high"), found, strict=True)
    }


def at_finish(batch, column: int, at_end) -> np.ndarray:
    """Return a trace of each member when the last leg was done; ``at_end`` for those who have none or have not done it."""
    done = batch.paces[:, DONE_S]
    found = np.array(at_end, dtype=float)
    for i in np.flatnonzero(np.isfinite(done) & (done > 0.0)):
        found[i] = np.interp(done[i], batch.time_s, batch.traces[i, :, column])
    return found


def times_to_limit(batch) -> np.ndarray:
    """Minutes to the limit of each member; infinite where it is not reached."""
    seconds = batch.summaries[:, kernel.S_LIMIT_S]
    return np.where(np.isnan(seconds), np.inf, seconds / 60.0)


def melted_min(batch) -> np.ndarray:
    """Minutes at which each member's stores are all melted; infinite where ice is left at the end."""
    store, minutes = batch.traces[:, :, columns.T_STORE_J], batch.time_s / 60.0
    found = np.full(len(store), np.inf)
    for i, line in enumerate(store):
        crossed = np.flatnonzero((line[:-1] < 0.0) & (line[1:] >= 0.0))
        if crossed.size:
            k = crossed[0]
            found[i] = minutes[k] + (minutes[k + 1] - minutes[k]) * line[k] / (line[k] - line[k + 1])
    return found


def _until_melted(batch, melted, column) -> np.ndarray:
    """Integral column at the time of melting (or the end) for each member."""
    minutes = batch.time_s / 60.0
    return np.array(
        [
            np.interp(min(m, minutes[-1]), minutes, line)
            for m, line in zip(melted, batch.traces[:, :, column], strict=True)
        ]
    )


def heat_through_devices(batch) -> np.ndarray:
    """Net heat that left each body through its devices at each time [J]: contact, and drips warmed on the skin."""
    return batch.traces[:, :, columns.T_FROM_SKIN] + batch.traces[:, :, columns.T_RUN_OFF]


def ceiling_parts_K(batch, mass_kg) -> dict[str, np.ndarray]:
    """What could be paid for, in fall of mean body temperature [K], by member and time.

    Returns
    -------
    dict
        ``joules``: heat that the devices took. ``wetting``: all water that landed on the skin, if it evaporated there.
        ``shade``: sun kept off.
    """
    capacity = np.asarray(mass_kg)[:, None] * BODY_HEAT_J_KGK
    return {
        "joules": heat_through_devices(batch) / capacity,
        "wetting": LATENT_HEAT_SWEAT * batch.traces[:, :, columns.T_LANDED] / capacity,
        "shade": batch.traces[:, :, columns.T_SHADED] / capacity,
    }


def ceiling_K(batch, mass_kg) -> np.ndarray:
    """Largest fall of mean body temperature that the devices' joules could pay for [K], by member and time."""
    return ceiling_parts_K(batch, mass_kg)["joules"]


def _coldest_skin_C(session, variant, batch) -> np.ndarray:
    """Coldest skin under the devices of each member while any is worn [°C]; NaN when no sample falls in that time."""
    minutes, worn = batch.time_s / 60.0, np.zeros(batch.time_s.size, dtype=bool)
    for one in worn_of(session, variant):
        worn |= one.worn_at(minutes)
    if not worn.any():
        return np.full(len(batch.traces), np.nan)
    return batch.traces[:, worn, columns.T_PATCH_C].min(axis=1)


def rows_of_variant(session, variant) -> tuple[np.ndarray, list[str]]:
    """Return the device rows of a variant on the runner as given, and one name a device."""
    worn = worn_of(session, variant)
    area_m2 = runner_record(session.runner)[0]["area_m2"]
    rows, _, names = flatten_cooling(worn, area_m2, float(session.effort.end_s[-1]))
    return rows, names


def used_kg(rows, batch) -> tuple[np.ndarray, np.ndarray]:
    """Return the ice and the water that went into each row up to the end, refills included [kg].

    Ice is the frozen part of the charges, water their liquid part; fillings that are not water are neither.
    """
    charged = np.array(
        [np.median(batch.states[:, n.BASE + r * n.ROW_SIZE + n.ROW_CHARGED_KG]) for r in range(rows.size)]
    )
    ice, water = ice_and_water(rows)
    return charged * ice, charged * water


def _device_entry(session, variant, drawn, batch) -> dict:
    ice_kg, water_kg = used_kg(rows_of_variant(session, variant)[0], batch)
    last, melted = batch.traces[:, -1], melted_min(batch)
    skin, air = (
        _until_melted(batch, melted, columns.T_FROM_SKIN),
        _until_melted(batch, melted, columns.T_FROM_AIR),
    )
    outer = air + _until_melted(batch, melted, columns.T_FROM_VAPOUR)
    taken = skin + outer  # a share of heat taken from both sides; nothing to say of one whose outer side gives heat off
    useful = np.divide(skin, taken, out=np.full_like(taken, np.nan), where=(taken > 0.0) & (skin >= 0.0) & (outer >= 0.0))
    return {
        "heat_from_skin_kJ": interval(heat_through_devices(batch)[:, -1] / 1e3),
        "heat_from_air_kJ": interval((last[:, columns.T_FROM_AIR] + last[:, columns.T_FROM_VAPOUR]) / 1e3),
        "heat_by_drips_kJ": interval(last[:, columns.T_RUN_OFF] / 1e3),
        "condensed_g": interval(last[:, columns.T_CONDENSED] * 1e3),
        "melted_at_min": interval(melted),
        "useful_share": interval(useful if np.isnan(useful).mean() <= RARELY else []),
        "ice_used_kg": round(float(ice_kg.sum()), 6),
        "water_used_kg": round(float(water_kg.sum()), 6),
        "coldest_skin_C": interval(_coldest_skin_C(session, variant, batch)),
        "ceiling_K": interval(ceiling_K(batch, drawn.runners["mass_kg"])[:, -1]),
        "ceiling_parts_K": {
            name: interval(part[:, -1]) for name, part in ceiling_parts_K(batch, drawn.runners["mass_kg"]).items()
        },
    }


def variant_entry(session, variant, drawn: Members, batch) -> dict:
    """Return the JSON entry of a variant: each number as median and 90 % interval of the members."""
    reached = times_to_limit(batch)
    return {
        "name": variant.name,
        "core_at_end_C": interval(at_finish(batch, columns.T_CORE, batch.summaries[:, kernel.S_CORE_END]) + drawn.core_error_K),
        "time_to_limit_min": interval(reached),
        "share_never": float(np.isinf(reached).mean()),
        "share_finished": finished_share(session, batch),
        "heart_rate_at_end_bpm": interval(at_finish(batch, columns.T_HEART, batch.summaries[:, kernel.S_HEART_END])),
        "sweat_loss_L": interval(at_finish(batch, columns.T_SWEAT, batch.summaries[:, kernel.S_SWEAT])),
        "device": _device_entry(session, variant, drawn, batch) if variant.cooling else None,
    }


def finished_share(session, batch) -> float | None:
    """Return the share of members who have done all legs by the end of the comparison; None without legs by distance."""
    if not is_paced(session) or not is_by_distance(session):
        return None
    return float(np.isfinite(batch.paces[:, DONE_S]).mean())
