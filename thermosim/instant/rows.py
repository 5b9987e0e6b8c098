"""The teaching rows of a ledger: symbol, formula, the numbers put in, watts."""

import re

from thermosim.constants import LEWIS_RELATION, STANDARD_PRESSURE_KPA
from thermosim.instant.effort import digits

SYMBOLS = {
    "metabolic_power": "$M$", "external_work": "$W$", "convection": "$C$", "long_wave_radiation": "$R$",
    "solar_radiation": "$S_{sun}$", "respiration_vapour": "$E_{res}$", "respiration_dry": "$C_{res}$",
    "evaporation": "$E$", "devices": "$D$", "storage": "$S$",
}  # fmt: skip
_GREEK = {r"\theta": "θ", r"\times": "×", r"\sin": "sin ", r"\dot": "", r"\,": " "}


def plain(text: str) -> str:
    """Return mathtext as plain text: no dollar signs, braces or backslashes."""
    for code, letter in _GREEK.items():
        text = text.replace(code, letter)
    return re.sub(r" +", " ", re.sub(r"[${}\\]", "", text)).strip()


def row(term, formula, numbers, watts, area) -> dict:
    """Return one row; ``text`` is the whole of it in plain words for a terminal."""
    watts = float(watts)
    put_in = f" = {numbers}" if numbers else ""
    return {
        "term": term, "symbol": SYMBOLS[term], "formula": formula, "numbers": numbers, "watts": watts,
        "W_m2": watts / area if area else None,
        "text": f"{plain(formula)}{put_in} → {watts:+.1f} W".replace("-", "−"),
    }  # fmt: skip


def rows_of(instant, solved, terms) -> list[dict]:
    """Return the rows of an instant's ledger, in the order of the terms; devices take no part.

    ``numbers`` is arithmetic whose value is the term (with its sign), to the digits shown; what is solved for
    is found from the rest of the books.
    """
    now, d = solved.exchange, digits
    area = d(instant.surface_area_m2)
    air, radiant, skin = (
        d(t) for t in (instant.air_temperature_C, instant.mean_radiant_temperature_C, now.skin_C)
    )
    vapour, power = d(instant.vapour_pressure_kPa), d(now.metabolic_W)
    put_in = {
        "metabolic_power": (instant.metabolic_formula, instant.metabolic_numbers),
        "external_work": (_negative(instant.work_formula), _minus(instant.work_numbers)),
        "convection": (
            r"$C = f\,A\,h_c\,(T_a - T_{sk})$",
            f"{d(now.dry_factor)} × {area} × {d(now.convection_W_m2K)} × ({air} − {skin})",
        ),
        "long_wave_radiation": (
            r"$R = f\,A\,h_r\,(T_r - T_{sk})$",
            f"{d(now.dry_factor)} × {area} × {d(now.radiation_W_m2K)} × ({radiant} − {skin})",
        ),
        "solar_radiation": (r"$S_{sun} = f\,A\,a\,G$", _sun_numbers(instant, now, area)),
        "respiration_vapour": (
            r"$E_{res} = -0.0173\,M\,(5.87 - p_a)$",
            f"−0.0173 × {power} × (5.87 − {vapour})",
        ),
        "respiration_dry": (r"$C_{res} = -0.0014\,M\,(34 - T_a)$", f"−0.0014 × {power} × (34 − {air})"),
        "evaporation": _evaporation(instant, solved, terms),
        "storage": _storage(solved, terms),
    }  # fmt: skip
    if solved.name == "metabolic_power_W":
        put_in["metabolic_power"] = (r"$M$ from the balance", _rest_of_books(terms, "metabolic_power"))
    found = []
    for term, (formula, numbers) in put_in.items():
        found.append(row(term, formula, numbers, terms[term], instant.surface_area_m2))
    return found


def _negative(formula: str) -> str:
    return formula.replace("$W = ", "$-W = -") if "=" in formula else formula


def _minus(numbers: str) -> str:
    return "0" if numbers.startswith("0") else f"−{numbers}"


def _sun_numbers(instant, now, area) -> str:
    from thermosim.parameters import value

    share = value("solar_absorptance") * value("solar_interception")
    return f"{digits(now.dry_factor)} × {area} × {digits(share)} × {digits(instant.solar_W_m2)}"


def _rest_of_books(terms, open_term) -> str:
    """Return the sum that an open term must balance: storage less all others."""
    parts = [
        terms["storage"],
        *(-terms[name] for name in terms if name not in ("storage", open_term, "devices")),
    ]
    parts = [part for part in parts if part != 0.0] or [0.0]
    text = " ".join(f"{'−' if part < 0 else '+'} {abs(part):.1f}" for part in parts)
    return text.removeprefix("+ ").replace("− ", "−", 1) if text.startswith("−") else text.removeprefix("+ ")


def _evaporation(instant, solved, terms):
    if solved.name == "sweat_rate_L_h":
        formula = r"$E = S - (M - W + C + R + S_{sun} + E_{res} + C_{res})$"
        return formula, _rest_of_books(terms, "evaporation")
    now = solved.exchange
    if solved.evaporation_W == 0.0:
        return "no sweat: nothing evaporates", "0"
    wettedness = -solved.evaporation_W / now.capacity_W if now.capacity_W > 0.0 else 1.0
    lewis = LEWIS_RELATION * STANDARD_PRESSURE_KPA / instant.pressure_kPa
    text = (
        f"−{digits(wettedness)} × {digits(now.vapour_factor)} × {digits(instant.surface_area_m2)} × "
        f"{digits(lewis)} × {digits(now.convection_W_m2K)} × "
        f"({digits(now.saturated_kPa)} − {digits(instant.vapour_pressure_kPa)})"
    )
    return r"$E = -w\,f_v\,A\,h_e\,(p_{sk} - p_a)$", text


def _storage(solved, terms):
    if solved.name == "storage_W":
        others = [
            terms[name] for name in terms if name not in ("storage", "devices") and terms[name] != 0.0
        ] or [0.0]
        text = " ".join(f"{'−' if part < 0 else '+'} {abs(part):.1f}" for part in others)
        return r"$S$ = sum of all terms", text.removeprefix("+ ")
    return (r"$S$ stated" if solved.storage_W else r"$S = 0$, temperatures held"), digits(solved.storage_W)


def rows_of_run(terms, area) -> list[dict]:
    """Return the rows of a simulated run's ledger: sums over 12 segments, as the engine booked them."""
    found = []
    for term, watts in terms.items():
        if term == "devices" and watts == 0.0:
            continue
        formula = (
            "heat capacity × rate of warming, summed over the nodes"
            if term == "storage"
            else "summed over the segments"
        )
        found.append(row(term, formula, "", watts, area))
    return found
