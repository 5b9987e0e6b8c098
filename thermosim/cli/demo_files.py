"""The demo scenario's files. Everything in them is invented: the island, the runners, the weather, the heart rate."""

from pathlib import Path

_P17 = """\
# INVENTED runner of the demo. Mass, height, threshold, sweat and heat days are given; the rest is default.
name = "P-17"
mass_kg = 54.0
height_m = 1.64
sex = "female"
threshold_heart_rate_bpm = 168
maximum_sweat_rate_L_h = 1.1
heat_days = 9
"""

_P22 = """\
# INVENTED runner of the demo.
name = "P-22"
mass_kg = 78.0
height_m = 1.83
sex = "male"
age_y = 36
vo2max_mL_kg_min = 54
resting_heart_rate_bpm = 52
maximum_heart_rate_bpm = 184
threshold_heart_rate_bpm = 166
maximum_sweat_rate_L_h = 1.9
heat_days = 2                       # few: the default core limit is then 38.5 °C
"""

_WEATHER = """\
# INVENTED race morning on the island of Ostrevane: humid night, hard sun after 07:00, sea breeze from 10:00.
# Linear between rows. Relative humidity falls by a third after dawn while the air holds the same water.
clock,air_temperature_C,relative_humidity_pct,wind_speed_m_s,wind_from,solar_W_m2
02:30,25.0,94,0.5,cross,0
05:00,24.6,96,0.5,cross,0
06:30,27.0,88,0.5,cross,150
08:00,29.5,78,1.0,cross,520
10:00,32.5,62,3.0,cross,860
11:30,33.5,58,3.0,cross,930
"""

_PARTS = """\
[[effort.part]]
minutes = 30
speed_m_s = 2.9                     # 5:45 min/km
grade_pct = 0
[[effort.part]]                     # standing at the ice box
minutes = 3
speed_m_s = 0.0
[[effort.part]]
minutes = 27
speed_m_s = 2.9
grade_pct = 0
"""

_VARIANTS = """\
[limits]
core_temperature_C = 39.0           # set by hand: with 2 heat days the default would be 38.5

[ensemble]
members = 200
seed = 1

[assumed]                           # not measured: ranges that hold the values in use
economy_factor = [0.95, 1.05]
vo2max_mL_kg_min = [50, 58]

[[variant]]
name = "none"

[[variant]]
name = "covered collar"             # vapour-tight cover: the ice works on the neck
[[variant.cooling]]
device = "ice_collar"
ice_kg = 0.25
covered = true
refill_min = [33]

[[variant]]
name = "bare collar"                # wet cloth outside: dew takes much of the ice
[[variant.cooling]]
device = "ice_collar"
ice_kg = 0.25
covered = false
refill_min = [33]
"""

_SESSION = f"""\
# INVENTED. P-22 rehearses the salt-pan causeway of the Cistern Round: open, level, no shade.
title = "Salt pans at 07:30, rehearsal of P-22 (invented)"
start = "07:30"                     # a clock time within the weather sheet
runner = "P-22.runner.toml"         # try P-17.runner.toml as well
weather = "race-morning.weather.csv"

[effort]
{_PARTS}
{_VARIANTS}"""

RECORDING = "P-22-rehearsal-INVENTED.csv"
_RECORDED = f"""\
# INVENTED. The same rehearsal as a watch recorded it: the model runs at the recorded speed and is held against
# the recorded heart rate. The heart rate was made by simulation with strap noise, not measured on anybody.
title = "Salt pans, heart rate as recorded (invented)"
start = "07:30"
runner = "P-22.runner.toml"
weather = "race-morning.weather.csv"

[effort.recording]
file = "{RECORDING}"
columns = {{time_s = "elapsed_s", heart_rate_bpm = "pulse_bpm", speed_m_s = "speed", distance_m = "distance"}}

{_VARIANTS}"""

TEXTS = {
    "P-17.runner.toml": _P17, "P-22.runner.toml": _P22, "race-morning.weather.csv": _WEATHER,
    "salt-pans.session.toml": _SESSION, "salt-pans-recorded.session.toml": _RECORDED,
}  # fmt: skip
PICTURES = ("ledger.png", "run-overview.png", "ledger-over-time.png", "compare.png")
NAMES = {*TEXTS, RECORDING, *PICTURES}

# What makes the invented heart rate differ from the card: this much dearer running, a strap's noise, lost samples.
_TRUE_ECONOMY, _NOISE_SEED, _STEP_S, _DROPOUT = 1.04, 22, 5.0, 0.02
_STRAP_LOST_S = (1500.0, 1590.0)


def write_files(folder: Path) -> None:
    """Make the folder and write every file of the scenario into it."""
    folder.mkdir()
    for name, text in TEXTS.items():
        (folder / name).write_text(text, encoding="utf-8")
    (folder / RECORDING).write_text(invented_recording(folder / "salt-pans.session.toml"), encoding="utf-8")


def invented_recording(session_path: Path) -> str:
    """Return the invented recording: the session run with dearer running, seen through a chest strap."""
    import numpy as np

    from thermosim.inputs.session import Session
    from thermosim.physiology.circulation import observe_heart_rate
    from thermosim.story import simulate_session

    session = Session.read(session_path).with_overrides({"economy_factor": _TRUE_ECONOMY})
    ds = simulate_session(session, save_every_s=_STEP_S)
    rate = observe_heart_rate(
        ds.heart_rate.values, _STEP_S, np.random.default_rng(_NOISE_SEED), dropout=_DROPOUT
    )
    lines = ["elapsed_s,pulse_bpm,speed,distance"]
    for time, beats, speed, distance in zip(
        ds.time.values, rate, ds.speed.values, ds.distance.values, strict=True
    ):
        if not _STRAP_LOST_S[0] < time < _STRAP_LOST_S[1]:
            lines.append(f"{time:.0f},{'' if np.isnan(beats) else f'{beats:.0f}'},{speed:.2f},{distance:.1f}")
    return "\n".join(lines) + "\n"
