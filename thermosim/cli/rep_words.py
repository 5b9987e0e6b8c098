"""Rep outcomes and the rule of a run in words: a table, two sentences, JSON keys."""

from typing import Any

from thermosim.cli.terminal import number
from thermosim.clock import pace_text

TITLE = "Reps"
NAMES = ("rep", "m", "min/km", "cap first at", "over", "return", "bpm at end")
OF_A_CAP = slice(3, 6)  # columns that only a cap fills


def names(reps: list[dict[str, Any]]) -> tuple[str, ...]:
    """Return the columns of the table, without those of a cap where there is none."""
    return NAMES if _capped(reps) else NAMES[: OF_A_CAP.start] + NAMES[OF_A_CAP.stop :]


def _capped(reps) -> bool:
    return any(one["first_cap_m"] is not None for one in reps)


def recorded_result(session) -> dict[str, Any] | None:
    """Return what the session's rule makes of its recorded heart rate; None without a cap or a recorded heart rate."""
    from thermosim.study.reps import rule_on_recording

    recorded, rule = session.effort.recorded, session.rule
    if recorded is None or rule is None or not rule.capped:
        return None
    return rule_on_recording(rule.record(session.runner), recorded.time_s, recorded.heart_rate_bpm)


def recorded_sentence(result: dict[str, Any]) -> str:
    """Return what the rule makes of a recording, in one sentence."""
    text = f"The rule on the recorded heart rate: cap {result['cap_bpm']:.0f} bpm, "
    if not result["cap_events"]:
        return text + "not reached."
    returns = ", ".join(bound(one["return_s"], "s", one["return_censored"]) for one in result["events"][:5])
    more = ", …" if len(result["events"]) > 5 else ""
    return (
        f"{text}first reached at minute {result['first_cap_min']:.1f}, {result['cap_events']} cap event"
        f"{'' if result['cap_events'] == 1 else 's'}, {result['time_over_cap_min']:.1f} min above it; back after {returns}{more}."
    )


def rows(reps: list[dict[str, Any]]) -> list[tuple[str, ...]]:
    """Return one row of texts for each rep, censored numbers as bounds."""
    found = []
    for one in reps:
        speed = one["mean_speed_m_s"]
        found.append((
            f"{one['rep']}{'' if one['complete'] else ' cut'}", number(one["distance_m"], 0),
            pace_text(speed) if speed > 0.0 else "–",
            bound(one["first_cap_m"], "m", one["first_cap_censored"]), bound(one["time_over_cap_s"], "s", False),
            bound(one["return_s"], "s", one["return_censored"]), number(one["heart_rate_at_end_bpm"], 0),
        ))  # fmt: skip
    return found if _capped(reps) else [one[: OF_A_CAP.start] + one[OF_A_CAP.stop :] for one in found]


def bound(value, unit: str, censored) -> str:
    """Return a number with its unit, as a bound where it is censored.

    >>> bound(900.0, "m", True), bound(36.5, "s", False), bound(None, "s", False)
    ('> 900 m (censored)', '36 s', '–')
    """
    if value is None:
        return "–"
    return f"> {value:.0f} {unit} (censored)" if censored else f"{value:.0f} {unit}"


def sentences(result: dict[str, Any]) -> list[str]:
    """Return what the rule did, and how pace fades, one sentence each."""
    rule, found = result["rule"], []
    if rule["cap_bpm"] is not None:
        text = f"Cap {rule['cap_bpm']:.0f} bpm, resume below {rule['resume_below_bpm']:.0f} bpm: "
        if rule["cap_events"]:
            text += f"first reached at minute {rule['first_cap_min']:.1f}, {rule['first_cap_m']:.0f} m; {rule['cap_events']} cap "
            text += f"event{'' if rule['cap_events'] == 1 else 's'}, {rule['time_over_cap_min']:.1f} min above it in all."
        else:
            text += "not reached."
        found.append(text)
    if rule["stopped_by"]:
        found.append(f"The rule stops the run at minute {rule['stopped_at_min']:.1f}, by {rule['stopped_by']}.")
    fade = result.get("pace_fade")
    if any(not one["complete"] for one in result.get("reps", ())):
        found.append("A rep marked cut was not done in full.")
    if result.get("reps_differ"):
        found.append(f"The reps differ in {' and '.join(result['reps_differ'])}: how pace fades over them cannot be told.")
    if fade:
        least = ", at least: a rep was not done in full" if fade["censored"] else ""
        found.append(
            f"Pace fade over {fade['reps']} reps: {number(fade['slope_s_km_per_rep'], 1, True)} s/km a rep, "
            f"last over first {fade['ratio_last_first']:.3f}{least}."
        )
    if any(one["return_s"] is not None for one in result.get("reps", ())):
        found.append("Return seconds hang on where heart rate is heading more than on the peak: they magnify small differences.")
    return found
