"""Ice loaded and ice left: the most heat that a device can have taken."""

from typing import Any

from thermosim.constants import LATENT_HEAT_FUSION, SPECIFIC_HEAT_WATER
from thermosim.errors import InputError
from thermosim.inputs.checks import check_names, check_range, shown
from thermosim.inputs.columns import read_table

BODY_HEAT_J_KGK = 3470.0  # the ceiling's heat capacity; ISO 7933 storage constant
WARMED_BY_K = 30.0  # melt water that stayed, at most from 0 °C to near skin
MOST_ICE_KG = 20.0
COLUMNS = ("rep", "minutes", "ice_loaded_kg", "ice_left_kg")


def most_heat(ice_loaded_kg: float, ice_left_kg: float, minutes: float, mass_kg: float) -> dict[str, Any]:
    """Return the most heat that a device can have taken: all that melted, and its water warmed.

    Parameters
    ----------
    ice_loaded_kg, ice_left_kg : float
        Ice put in and ice found at the end [kg].
    minutes : float
        How long it was worn [min].
    mass_kg : float
        Body mass [kg].

    Returns
    -------
    dict
        ``melted_kg``; ``latent_kJ``, ``warming_kJ`` (30 K, if the melt water stayed in the device) and ``most_kJ``, their
        sum; ``mean_W``, ``ceiling_K`` of the sum, and ``latent_mean_W``, ``latent_ceiling_K`` of the ice alone.

    Examples
    --------
    >>> found = most_heat(0.25, 0.0, 60, 65)
    >>> round(found["latent_kJ"], 1), round(found["warming_kJ"]), round(found["ceiling_K"], 2)
    (83.5, 31, 0.51)
    """
    check_ice(ice_loaded_kg, ice_left_kg)
    minutes, mass_kg = check_range("minutes", minutes), check_range("mass_kg", mass_kg)
    melted = ice_loaded_kg - ice_left_kg
    latent, warming = melted * LATENT_HEAT_FUSION, melted * SPECIFIC_HEAT_WATER * WARMED_BY_K
    return {
        "ice_loaded_kg": ice_loaded_kg,
        "ice_left_kg": ice_left_kg,
        "minutes": minutes,
        "melted_kg": melted,
        **_of(latent, minutes, mass_kg, "latent_"),
        "warming_kJ": 1e-3 * warming,
        "most_kJ": 1e-3 * (latent + warming),
        **_of(latent + warming, minutes, mass_kg, ""),
    }


def _of(joules: float, minutes: float, mass_kg: float, prefix: str) -> dict[str, float]:
    found = {f"{prefix}mean_W": joules / (60.0 * minutes), f"{prefix}ceiling_K": joules / (mass_kg * BODY_HEAT_J_KGK)}
    return {"latent_kJ": 1e-3 * joules, **found} if prefix else found


def check_ice(loaded_kg, left_kg, **place) -> None:
    """Refuse ice that cannot be: negative, not a number, or more left than was loaded."""
    for name, value in (("ice_loaded_kg", loaded_kg), ("ice_left_kg", left_kg)):
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= MOST_ICE_KG:
            finite = isinstance(value, int | float) and not isinstance(value, bool) and value == value
            remedy = "a mass is never negative: check the sign" if finite and value < 0.0 else "give kg, not g"
            raise InputError(f"is {shown(value)} kg, allowed is 0 to {MOST_ICE_KG:g} kg", field=name, remedy=remedy, **place)
    if left_kg > loaded_kg:
        raise InputError(
            f"is {left_kg:g} kg, more than the {loaded_kg:g} kg that was loaded",
            field="ice_left_kg",
            remedy="weigh ice alone, without cloth and melt water",
            **place,
        )


def heat_of_reps(path, mass_kg: float) -> list[dict[str, Any]]:
    """Return :func:`most_heat` for each row of a file with ``minutes``, ``ice_loaded_kg``, ``ice_left_kg``, ``rep`` if wanted.

    Raises
    ------
    InputError
        A column that is missing or unknown, a blank cell, ice that cannot be; with file and line.
    """
    table = read_table(path)
    check_names(table.header, COLUMNS, file=table.file, line=table.header_line)
    for name in COLUMNS[1:]:
        if name not in table.header:
            raise InputError("is missing", field=name, file=table.file, line=table.header_line, remedy=f"add a column {name}")
    columns = {name: table.numbers(name) for name in COLUMNS[1:]}
    names = table.cells("rep") if "rep" in table.header else [str(k) for k in range(1, len(table.rows) + 1)]
    found = []
    for k, (rep, line) in enumerate(zip(names, table.lines)):
        row = {name: float(values[k]) for name, values in columns.items()}
        for name, value in row.items():
            if value != value:
                raise InputError(
                    "is blank, allowed is a number in every row",
                    field=name,
                    file=table.file,
                    line=line,
                    remedy="fill the cell or cut the row",
                )
        check_ice(row["ice_loaded_kg"], row["ice_left_kg"], file=table.file, line=line)
        check_range("minutes", row["minutes"], file=table.file, line=line)
        found.append({"rep": rep, **most_heat(row["ice_loaded_kg"], row["ice_left_kg"], row["minutes"], mass_kg)})
    return found
