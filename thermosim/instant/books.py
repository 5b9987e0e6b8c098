"""The heat balance of one instant: scalar laws for the whole body, one skin temperature, one air speed.

A gain by the body is positive; external work and losses are negative; storage is what the body keeps. One
quantity is left open and solved for: the evaporation (and so the sweat rate), the storage, the skin
temperature or the metabolic power. The same object comes from a simulated run with :func:`ledger_of_run`.
"""

from thermosim.engine.nodes import TERM_NAMES
from thermosim.errors import InputError
from thermosim.instant.inputs import Instant, resolve
from thermosim.instant.solve import Solved, close_books, limiting, litres_per_hour, sweat_with_dripping

TERMS = (*TERM_NAMES, "storage")
TRIED_SKIN_C = (25.0, 38.0)  # mean skin that one skin temperature can stand for (common practice, no source)
_UNITS = {"metabolic_power_W": "W", "skin_temperature_C": "°C", "sweat_rate_L_h": "L/h", "storage_W": "W"}


def ledger(runner=None, weather=None, *, at_min=0.0, **fields) -> dict:
    """Return the heat balance of one instant, term by term, with formulas and the numbers put in.

    Parameters
    ----------
    runner : Runner, optional
        Who; or give ``mass_kg`` and ``height_m`` (and any other field of a runner card) as keywords, or just
        ``surface_area_m2`` with a metabolic power.
    weather : Weather, optional
        The air; or give its fields as keywords (``air_temperature_C``, one humidity, ``wind_speed_m_s``,
        ``wind_from``, ``solar_W_m2``, ``globe_temperature_C``, ``mean_radiant_temperature_C``,
        ``pressure_kPa``).
    at_min : float
        Minute of a weather sheet.
    **fields
        Effort: ``speed_m_s``, ``grade_pct``, ``gait``, ``cost`` (``minetti``, ``acsm``), ``treadmill``,
        ``fan_speed_m_s``, ``surface_factor``, ``carried_mass_kg``, ``air_drag``, ``heading_deg``; or what
        textbooks give: one of ``metabolic_power_W``, ``metabolic_rate_W_m2``, ``oxygen_uptake_L_min`` (with
        ``respiratory_quotient``), and ``external_work_W``, ``air_speed_m_s``, ``convection_W_m2K``,
        ``clothing_clo`` (static, whole body). State of the body: ``skin_temperature_C``, ``sweat_rate_L_h``,
        ``storage_W`` or ``core_start_C``, ``core_end_C``, ``skin_start_C``, ``skin_end_C`` with ``minutes``.
        None counts as not given.

    Returns
    -------
    dict
        ``terms_W`` (ten names), ``heat_production_W``, ``required_evaporation_W`` (storage nothing),
        ``evaporative_capacity_W``, ``wettedness``, ``sweat_rate_L_h``, ``sweat_rate_with_dripping_L_h``,
        ``limited_by``, ``closure_W``, ``solved_for`` (name, value, unit), ``rows`` and more.

    Raises
    ------
    InputError
        Missing, contradicting or over-determined inputs, a value out of range, an unknown name.

    Examples
    --------
    >>> balance = ledger(mass_kg=65, height_m=1.75, speed_m_s=3.333, air_temperature_C=30,
    ...                  relative_humidity_pct=50, skin_temperature_C=34)
    >>> round(balance["heat_production_W"]), balance["limited_by"]
    (858, 'nothing')
    """
    instant = resolve(
        runner, weather, {name: given for name, given in fields.items() if given is not None}, at_min
    )
    return report(instant, close_books(instant))


def report(instant: Instant, solved: Solved) -> dict:
    """Return the ledger object of closed books."""
    from thermosim import cautions
    from thermosim.dataset import version
    from thermosim.instant.rows import rows_of

    now = solved.exchange
    terms = dict.fromkeys(TERMS, 0.0)
    for name in (
        "convection",
        "long_wave_radiation",
        "solar_radiation",
        "respiration_vapour",
        "respiration_dry",
    ):
        terms[name] = getattr(now, name)
    terms |= {
        "metabolic_power": now.metabolic_W,
        "external_work": -instant.work_W + 0.0,
        "evaporation": solved.evaporation_W,
        "storage": solved.storage_W,
    }
    limit = instant.wettedness_limit
    evaporation = evaporation_keys(now.required_W, now.capacity_W, limit)
    limited_by = limiting(now.required_W, now.capacity_W, instant)
    values = {
        "metabolic_power_W": now.metabolic_W,
        "skin_temperature_C": now.skin_C,
        "storage_W": solved.storage_W,
        "sweat_rate_L_h": litres_per_hour(-solved.evaporation_W),
    }
    capacity = instant.heat_capacity_J_K
    warnings = [*instant.warnings, *solved.notes]
    if limited_by != "nothing":
        warnings.append(cautions.UNCOMPENSABLE)
    if not TRIED_SKIN_C[0] <= now.skin_C <= TRIED_SKIN_C[1]:
        warnings.append(
            f"{cautions.OUTSIDE_RANGE}: a mean skin temperature of {now.skin_C:.1f} °C "
            f"({TRIED_SKIN_C[0]:g} to {TRIED_SKIN_C[1]:g} °C)."
        )
    return _plain(
        {
            "terms_W": terms,
            "heat_production_W": now.metabolic_W - instant.work_W,
            **evaporation,
            "limited_by": limited_by,
            "closure_W": closure(terms),
            "solved_for": {"name": solved.name, "value": values[solved.name], "unit": _UNITS[solved.name]},
            "storage_W": solved.storage_W,
            "body_heat_capacity_kJ_K": None if capacity is None else capacity / 1000.0,
            "mean_body_temperature_change_K_h": None
            if capacity is None
            else 3600.0 * solved.storage_W / capacity,
            "skin_temperature_C": now.skin_C,
            "air_speed_m_s": instant.air_speed_m_s,
            "vapour_pressure_kPa": instant.vapour_pressure_kPa,
            "mean_radiant_temperature_C": instant.mean_radiant_temperature_C,
            "surface_area_m2": instant.surface_area_m2,
            "convection_W_m2K": now.convection_W_m2K,
            "radiation_W_m2K": now.radiation_W_m2K,
            "dry_factor": now.dry_factor,
            "vapour_factor": now.vapour_factor,
            "maximum_sweat_rate_L_h": instant.maximum_sweat_rate_L_h,
            "wettedness_limit": limit,
            "rows": rows_of(instant, solved, terms),
            "setting": instant.setting,
            "warnings": warnings,
            "cautions": _cautions(limited_by, False),
            "version": version(),
        }
    )


def _plain(value):
    """Return the object with Python numbers only, as JSON wants them."""
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items()}
    if isinstance(value, list):
        return [_plain(entry) for entry in value]
    return value.item() if hasattr(value, "item") else value


def _cautions(limited_by, device) -> list[str]:
    from thermosim import cautions

    lines = [cautions.not_medical_advice(), cautions.SYMPTOMS_OVERRULE, cautions.INSTANT]
    lines += [cautions.UNCOMPENSABLE] if limited_by != "nothing" else []
    return lines + (cautions.for_device() if device else [])


def closure(terms: dict) -> float:
    """Return the sum of the terms less storage [W]."""
    return sum(terms[name] for name in TERMS if name != "storage") - terms["storage"]


def evaporation_keys(required_W: float, capacity_W: float, limit: float) -> dict:
    """Return the evaporation keys of a ledger from what is required and what the air takes [W]."""
    needed = max(required_W, 0.0)
    return {
        "required_evaporation_W": required_W,
        "evaporative_capacity_W": capacity_W,
        "wettedness": needed / capacity_W if capacity_W > 0.0 else None,
        "sweat_rate_L_h": litres_per_hour(needed),
        "sweat_rate_with_dripping_L_h": sweat_with_dripping(needed, capacity_W, limit),
    }


def ledger_of_run(ds, at_min) -> dict:
    """Return the same object from a simulated run: the engine's terms at the saved time nearest to a minute.

    Parameters
    ----------
    ds : xarray.Dataset
        A run from ``simulate``.
    at_min : float
        Minute of the run.

    Returns
    -------
    dict
        As :func:`ledger`; storage is the engine's sum over nodes, so ``closure_W`` tests the engine.
    """
    from thermosim.instant.rows import rows_of_run

    first, last = float(ds.time[0]) / 60.0, float(ds.time[-1]) / 60.0
    if not first - 1e-9 <= at_min <= last + 1e-9:
        problem = f"is {at_min:g} min, allowed is {first:g} to {last:g} min, the length of this run"
        raise InputError(problem, field="at_min", remedy="choose a minute within the run")
    now = ds.sel(time=60.0 * at_min, method="nearest")
    terms = {name: float(now.heat_flow.sel(term=name)) + 0.0 for name in TERMS}
    meanings = str(ds.limited_by.attrs["flag_meanings"]).split()
    limited_by = {"air": "air", "sweat_rate": "sweat_rate"}.get(meanings[int(now.limited_by)], "nothing")
    area, capacity = ds.attrs.get("surface_area_m2"), ds.attrs.get("heat_capacity_J_K")
    minute = float(now.time) / 60.0
    largest, limit = _limits_of_run(ds)
    return _plain(
        {
            "terms_W": terms,
            "heat_production_W": terms["metabolic_power"] + terms["external_work"],
            **evaporation_keys(float(now.required_evaporation), float(now.evaporative_capacity), limit),
            "limited_by": limited_by,
            "closure_W": closure(terms),
            "solved_for": {"name": "storage_W", "value": terms["storage"], "unit": "W"},
            "storage_W": terms["storage"],
            "body_heat_capacity_kJ_K": None if capacity is None else capacity / 1000.0,
            "mean_body_temperature_change_K_h": None
            if capacity is None
            else 3600.0 * terms["storage"] / capacity,
            "skin_temperature_C": float(now.mean_skin_temperature),
            "air_speed_m_s": float(now.air_speed),
            "vapour_pressure_kPa": float(now.vapour_pressure),
            "surface_area_m2": area,
            "maximum_sweat_rate_L_h": largest,
            "wettedness_limit": limit,
            "at_min": minute,
            "rows": rows_of_run(terms, area),
            "setting": (
                f"minute {minute:.4g} of the run · core {float(now.core_temperature):.2f} °C, mean skin "
                f"{float(now.mean_skin_temperature):.1f} °C · air {float(now.air_temperature):.1f} °C, "
                f"{float(now.air_speed):.2g} m/s over the skin"
            ),
            "warnings": _warnings_of_run(ds),
            "cautions": _cautions(limited_by, abs(terms["devices"]) > 0.0),
            "version": ds.attrs.get("version", ""),
        }
    )


def _limits_of_run(ds) -> tuple[float, float]:
    """Largest sweat rate [L/h] and wettedness [1] of the runner behind a run, from the inputs the run carries."""
    import json

    from thermosim.inputs.runner import Runner
    from thermosim.instant.body import sweat_limits, sweating_heat_days

    card = json.loads(ds.attrs.get("inputs", "{}")).get("runner") or {}
    listed = sweating_heat_days(Runner(**card)) if "heat_exposures" in card else card.get("heat_days")
    return sweat_limits(
        listed, card.get("maximum_sweat_rate_L_h"), float(ds.attrs["surface_area_m2"])
    )


def _warnings_of_run(ds) -> list[str]:
    import json

    return json.loads(ds.attrs.get("warnings", "[]"))
