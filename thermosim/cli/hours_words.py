"""Start hours in words: the answer, the table, what limits each runner, what the wind does, the cautions."""

import re
from typing import Any

from thermosim.cli.terminal import number, split_defaults

INSIDE, CROSSES, CANNOT_SAY = "inside the limits you set", "crosses", "cannot say"
LONGEST_LINE = 112  # of an answer on the page, characters


def answer(result: dict[str, Any]) -> list[str]:
    """Return one sentence a runner: from which starts it stays inside, crosses, or nothing can be said."""
    return [f"{one['name']}: {_verdicts(result, k)}." for k, one in enumerate(result["runners"])]


def _spans(result, runner: int, key: str) -> dict[str, list[list[str]]]:
    """Return what one runner's cells hold under a key -> the spans of starts where they do."""
    found: dict[str, list[list[str]]] = {}
    before = None
    for row in result["hours"]:
        text = row["runners"][runner][key]
        spans = found.setdefault(text, [])
        if text == before:
            spans[-1][1:] = [row["start"]]
        else:
            spans.append([row["start"]])
        before = text
    return found


def _verdicts(result, runner: int) -> str:
    """Return the verdicts of one runner over the hours, each with its spans of starts."""
    found = _spans(result, runner, "verdict")
    if len(found) == 1:
        verdict = next(iter(found))
        return (
            f"{verdict} {'from' if verdict != CANNOT_SAY else 'of'} every "
            f"start{_earliest(result, runner) if verdict == CROSSES else ''}"
        )
    parts = []
    for verdict in (INSIDE, CANNOT_SAY, CROSSES):
        if verdict in found:
            where = ", ".join(" to ".join(span) for span in found[verdict])
            word = "from" if verdict != CANNOT_SAY else "of"
            parts.append(f"{verdict} {word} {where}{_earliest(result, runner) if verdict == CROSSES else ''}")
    return "; ".join(parts)


def _earliest(result, runner: int) -> str:
    """Return the earliest minute at which half have crossed, and from which start."""
    cells = [
        (row["runners"][runner]["crosses_at_min"], row["start"])
        for row in result["hours"]
        if row["runners"][runner]["verdict"] == CROSSES
    ]
    known = [(when["median"], start) for when, start in cells if when and when["median"] is not None]
    if not known:
        return ""
    minute, start = min(known)
    return f" (earliest at minute {number(minute, 0)}, from {start})"


def heading(result: dict[str, Any]) -> str:
    """Return the heading of the table: who was drawn, and what the words mean in shares."""
    forecast = result["hours"][0]["over_sheets"] is not None
    return (
        f"{result['members']} runners drawn for each, seed {result['seed']}, model's own error "
        f"±{number(result['model_core_error_K'], 2)} °C "
        f"(one SD) among them; inside: up to {_percent(result['inside_share'])} cross; crosses: "
        f"{_percent(result['crosses_share'])} or more, "
        f"at the minute when half have{'; WBGT and air from–to over the sheets of the forecast' if forecast else ''}"
    )


def columns(result: dict[str, Any]) -> list[tuple[str, str]]:
    """Return headings of the table."""
    wbgt = [("WBGT, °C, at start", "left"), ("highest", "left")] if result["wbgt"] else []
    runners = [(f"{one['name']}, limit {number(one['limit_C'])} °C", "left") for one in result["runners"]]
    on = f" on {result['runners'][0]['name']}" if len(runners) > 1 else ""
    return [("start", "left"), *wbgt, ("air, °C", "left"), *runners, (f"wind{on}, W dry · evap.", "left")]


def rows(result: dict[str, Any], wide: bool = True) -> list[tuple[str, ...]]:
    """Return one row a start; where there is no room without the minute by which 5 % have crossed."""
    found = []
    for row in result["hours"]:
        wbgt = [over_sheets(row, name) for name in ("wbgt_C", "wbgt_highest_C")] if result["wbgt"] else []
        cells = [verdict_words(cell, wide) for cell in row["runners"]]
        found.append((row["start"], *wbgt, over_sheets(row, "air_temperature_C"), *cells, wind_words(row["runners"][0]["wind"])))
    return found


def over_sheets(row: dict[str, Any], name: str) -> str:
    """Return a number of an hour's air, of a forecast of several sheets from the lowest to the highest of them.

    Examples
    --------
    >>> over_sheets({"wbgt_C": 24.41, "over_sheets": None}, "wbgt_C")
    '24.4'
    >>> over_sheets({"wbgt_C": 24.41, "over_sheets": {"wbgt_C": [22.0, 25.26]}}, "wbgt_C")
    '22.0–25.3'
    """
    if not row["over_sheets"] or name not in row["over_sheets"]:
        return number(row[name])
    low, high = (number(end) for end in row["over_sheets"][name])
    return low if low == high else f"{low}–{high}"


def verdict_words(cell: dict[str, Any], wide: bool = True) -> str:
    """Return the verdict with its minute, or its share.

    Examples
    --------
    >>> when = {"median": 41.2, "low": 30.0, "high": None}
    >>> verdict_words({"verdict": "crosses", "share_crossing": 0.8, "crosses_at_min": when})
    'crosses at 41 min (5 % by 30)'
    >>> when = {"median": None, "low": 44.0, "high": None}
    >>> cell = {"verdict": "cannot say", "share_crossing": 0.3, "share_interval": [0.23, 0.38], "crosses_at_min": when}
    >>> verdict_words(cell), verdict_words(cell, wide=False)
    ('cannot say: 30 % (23 to 38) (5 % by 44)', 'cannot say: 30 %')
    """
    when, share = cell["crosses_at_min"] or {"median": None, "low": None}, _percent(cell["share_crossing"])
    early = "" if when["low"] is None or not wide else f" (5 % by {number(when['low'], 0)})"
    if cell["verdict"] == CROSSES and when["median"] is not None:
        return f"crosses at {number(when['median'], 0)} min{early}"
    if cell["verdict"] == INSIDE:
        return "inside" + (f": {share} cross" if cell["share_crossing"] else "")
    low, high = (_percent(end).removesuffix(" %") for end in cell["share_interval"])
    return f"{cell['verdict']}: {share}{f' ({low} to {high})' if wide else ''}{early}"


def wind_words(wind: dict[str, Any] | None) -> str:
    """Return the wind's watts in short, or a dash without wind."""
    if not wind:
        return "–"
    return f"{number(5 * round(wind['dry_W'] / 5), 0, True)} · {number(5 * round(wind['capacity_W'] / 5), 0, True)}"


def limiting_sentences(result: dict[str, Any]) -> list[str]:
    """Return what limits over the starts, and at the hottest of them with its watts: two sentences a runner."""
    hottest = max(result["hours"], key=lambda row: (row["wbgt_highest_C"] or 0.0, row["air_temperature_C"]))
    found = []
    for k, one in enumerate(result["runners"]):
        spans = _spans(result, k, "limiting_words")
        said = "; ".join(f"{words} ({', '.join(' to '.join(span) for span in places)})" for words, places in spans.items())
        found.append(f"What limits {one['name']}: {said}.")
    for one, cell in zip(result["runners"], hottest["runners"], strict=True):
        if cell["limiting"] is None:
            continue
        dry = f"air and surroundings {'give' if cell['dry_W'] > 0.0 else 'take'} {number(abs(cell['dry_W']), 0)} W"
        which = ", in the middle sheet of the forecast" if hottest["over_sheets"] else ""
        found.append(
            f"{one['name']} from {hottest['start']}: {cell['limiting_words']}; required evaporation "
            f"{number(cell['required_evaporation_W'], 0)} W, "
            f"the air takes up to {number(cell['evaporative_capacity_W'], 0)} W, sun {number(cell['sun_W'], 0, True)} W, "
            f"{dry} (runner as given, around minute {number(cell['told_at_min'], 0)}{which})."
        )
    return found


def error_sentences(result: dict[str, Any]) -> list[str]:
    """Return, for each runner, what makes the share at the start of which least crosses and nothing can be said."""
    found = []
    for k, one in enumerate(result["runners"]):
        open_ = [(cell["share_crossing"], row["start"], cell["share_without_model_error"])
                 for row in result["hours"] if (cell := row["runners"][k])["verdict"] == CANNOT_SAY]  # fmt: skip
        share, start, without = min(open_, default=(0.0, "", None))
        if without is not None:
            found.append(
                f"{one['name']} from {start}: {_percent(share)} cross; by the spread between people and of their air alone "
                f"{_percent(without)} would. The model's own error makes the difference; it is taken as there from the first "
                "minute on, so that the minute by which 5 % have crossed comes early."
            )
    return found


def work_limit_sentences(result: dict[str, Any]) -> list[str]:
    """Return the reference limits of WBGT for work as hard as this: made for work, told beside, no verdict on a run."""
    if not result["wbgt"]:
        return []
    found = []
    for one in result["runners"]:
        if (limit := one["work_limit"]) is None:
            continue
        beyond = f", beyond the table's last line at {number(limit['table_ends_W'], 0)} W" if limit["beyond_table"] else ""
        used = "used to heat" if limit["acclimatised"] else "not used to heat"
        found.append(
            f"{one['name']} {number(limit['wbgt_C'])} °C ({limit['work_class']} rate of work, {number(limit['metabolic_W'], 0)} W"
            f"{beyond}; {used})"
        )
    said = f"Reference limits of WBGT, ISO 7243, for a day's work in light clothes, not for a run: {'; '.join(found)}."
    return [said] if found else []


def wind_sentences(result: dict[str, Any]) -> list[str]:
    """Return what the wind does at the start where it does most, for the first runner; or that there is none."""
    windy = [(abs(row["runners"][0]["wind"]["capacity_W"]), row) for row in result["hours"] if row["runners"][0]["wind"]]
    if not windy:
        if any(row["runners"][0]["limiting"] is None for row in result["hours"]):
            return []  # a run that is not told has no wind told either
        return ["No wind, or none that changes the air over the runner."]
    row = max(windy, key=lambda pair: pair[0])[1]
    return [f"{result['runners'][0]['name']} from {row['start']}: {row['runners'][0]['wind']['sentence']}"]


def has_devices(session, result: dict[str, Any]) -> bool:
    """Return whether the variant that was run wears anything."""
    return any(one.name == result["variant"] and one.cooling for one in session.variants)


def cautions_of(session, result: dict[str, Any]) -> list[str]:
    """Return the cautions that this table must carry, most general first."""
    from thermosim import cautions

    bands = [cell["core_at_end_C"] for row in result["hours"] for cell in row["runners"] if cell["core_at_end_C"]]
    lines = cautions.for_result(
        device=has_devices(session, result),
        uncompensable=any(cell["uncompensable"] for row in result["hours"] for cell in row["runners"]),
        band_K=max((0.5 * (one["high"] - one["low"]) for one in bands), default=None),
    )
    more = []
    if any(runner.outside_adult_model for runner in session.runners):
        more.append(f"{cautions.ADULT_MODEL} {cautions.PREGNANCY_AND_UNDER_18}")
    if any(runner.beta_blocker for runner in session.runners):
        more.append(cautions.BETA_BLOCKERS)
    stopped = [cell["hottest_core_C"] for row in result["hours"] for cell in row["runners"] if not cell["core_at_end_C"]]
    if max([one["limit_C"] for one in result["runners"]] + [one["high"] for one in bands] + stopped) > 39.0:
        more.append(cautions.MEASURED_CORE_ABOVE_39)
    return lines[:3] + more + lines[3:]


def page_of(session, result: dict[str, Any]):
    """Return the picture of the table."""
    from thermosim import look

    weather = session.weather
    where = weather.notes[0].split(":")[0] + " · " if weather.notes and weather.notes[0].startswith("Station") else ""
    setting = (
        f"{session.title + ' · ' if session.title else ''}{where}{number(session.effort.minutes, 0)} min · worn: "
        f"{result['variant']} · "
        f"{result['members']} runners drawn for each · inside: up to {_percent(result['inside_share'])} cross; crosses: "
        f"{_percent(result['crosses_share'])} or more · limiting term and watts: runner as given"
    )
    if result["hours"][0]["over_sheets"]:
        setting += ", middle sheet of the forecast"
    limits = [f"{one['name']} {number(limit['wbgt_C'])} °C" for one in result["runners"] if (limit := one["work_limit"])]
    if result["wbgt"] and limits:
        setting += f" · ISO 7243 reference limits of WBGT, for a day's work, not for a run: {', '.join(limits)}"
    setting += f" · {result['left_out']}" if result["left_out"] else ""
    result = {**result, "cautions": cautions_of(session, result)}
    return look.draw_hours(result, _page_answer(result), setting, f"thermosim {result['version']} · seed {result['seed']}")


def _page_answer(result) -> list[str]:
    """Return at most two lines: each runner's own, or how many of all starts there are of each verdict."""
    lines = [re.sub(r"(earliest at minute \d+), from [^)]*", r"\1", line.rstrip(".")) for line in answer(result)]
    if len(lines) <= 2 and all(len(line) <= LONGEST_LINE for line in lines):
        return lines
    cells = [cell["verdict"] for row in result["hours"] for cell in row["runners"]]
    words = {INSIDE: f"{INSIDE} in", CROSSES: f"{CROSSES} in", CANNOT_SAY: f"{CANNOT_SAY} of"}
    counts = ", ".join(f"{words[verdict]} {cells.count(verdict)}" for verdict in words if verdict in cells)
    return [f"Of {len(cells)} starts of {len(result['runners'])} runners: {counts}"]


def condensed(sentences: list[str], names: list[str]) -> list[str]:
    """Return warnings with each runner's defaults in one line, where several runners have theirs.

    Examples
    --------
    >>> condensed(["P-17: age_y is the default, 35 y.", "P-17: sex is the default, male.", "Hot."], ["P-17"])
    ['Hot.', 'P-17, defaults used: age_y 35 y, sex male.']
    """
    others: list[str] = []
    mine: dict[str, list[str]] = {}
    for sentence in sentences:
        name = next((one for one in names if sentence.startswith(f"{one}: ")), None)
        if name is None:
            others.append(sentence)
        else:
            mine.setdefault(name, []).append(sentence.removeprefix(f"{name}: "))
    for name, said in mine.items():
        defaults, rest = split_defaults(said)
        others += [f"{name}: {sentence}" for sentence in rest]
        others += [f"{name}, defaults used: {', '.join(defaults)}."] if defaults else []
    return others


def _percent(share: float) -> str:
    if 0.0 < share < 0.005:
        return "under 1 %"
    return f"{number(100.0 * share, 0)} %"
