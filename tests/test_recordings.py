"""Recordings: real ones beside the checkout, and broken ones written here."""

import os
from pathlib import Path

import numpy as np
import pytest

from thermosim.errors import InputError
from thermosim.inputs.effort import Effort
from thermosim.inputs.recordings import find_gaps, read_delimited, read_gpx, read_recording

DATA = Path(__file__).parents[1].parent / "shared" / "data"
VALID = Path(__file__).parent / "examples_valid"
RUN_COLUMNS = {
    "time_s": "Timestamp",
    "heart_rate_bpm": " Heart Rate [bpm]",
    "speed_m_s": "Speed [m/s]",
    "distance_m": "Distance [m]",
    "cadence_rpm": "Cadence [rpm]",
}


def real(name: str) -> Path:
    path = DATA / name
    if not path.exists():
        message = f"the real recordings are not beside this checkout (shared/data/{name})"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    return path


def written(tmp_path, text: str, name: str = "morning.csv") -> Path:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


# Real recordings


def test_real_run_every_5_s():
    recording = read_delimited(real("run-records-5s/compressed-speed-distance-records.csv"), RUN_COLUMNS)
    assert len(recording.time_s) == 754
    assert recording.gaps == ((675.0, 790.0),)
    assert np.isnan(recording.cadence_rpm).sum() == 1
    assert any(note.startswith("cadence_rpm: 1 of 754 cells empty") for note in recording.notes)
    assert recording.distance_m[-1] == pytest.approx(10_250, abs=5)
    assert (np.nanmin(recording.heart_rate_bpm), np.nanmax(recording.heart_rate_bpm)) == (93, 189)
    assert not recording.has("elevation_m")


def test_real_run_as_an_effort_fills_its_gap_from_distance():
    recording = read_delimited(real("run-records-5s/compressed-speed-distance-records.csv"), RUN_COLUMNS)
    effort = Effort.from_recording(recording)
    assert effort.minutes == pytest.approx(3875 / 60)
    k = int(np.flatnonzero(effort.start_s == 675.0)[0])
    run_in_gap = recording.distance_m[k + 1] - recording.distance_m[k]
    assert effort.speed_m_s[k] * 115.0 == pytest.approx(run_in_gap)
    sentences = effort.warnings()
    assert any("In 1 gap (115 s) the mean speed is from the distance" in sentence for sentence in sentences)
    assert any("grade_pct is 0 % throughout (there is no elevation)" in sentence for sentence in sentences)
    np.testing.assert_array_equal(effort.recorded.heart_rate_bpm, recording.heart_rate_bpm)


def test_real_run_without_distance_is_refused_at_its_gap():
    columns = {name: header for name, header in RUN_COLUMNS.items() if name != "distance_m"}
    recording = read_delimited(real("run-records-5s/compressed-speed-distance-records.csv"), columns)
    with pytest.raises(
        InputError, match=r"line 137: .*a gap of 115 s at 675 s.*map a distance column, or cut"
    ):
        Effort.from_recording(recording)


def test_real_ski_tour_has_heart_rate_and_its_device_temperature_is_not_air():
    recording = read_gpx(real("ski-tour-gpx-hr/example1.gpx"))
    assert np.isfinite(recording.heart_rate_bpm).sum() == 3181
    assert (np.nanmin(recording.heart_rate_bpm), np.nanmax(recording.heart_rate_bpm)) == (78, 150)
    assert recording.distance_m[-1] == pytest.approx(11_300, rel=0.01)
    assert max(later - earlier for earlier, later in recording.gaps) == 50.0
    assert any("not taken as air temperature" in note for note in recording.notes)
    assert not {"latitude", "longitude", "name"} & set(recording.to_dict())
    with pytest.raises(InputError, match="not running"):
        Effort.from_recording(recording)


def test_real_mountain_track_with_broken_times_is_refused():
    with pytest.raises(InputError, match=r"line 16: time: runs backwards .*the times are broken"):
        read_gpx(real("hill-gpx/Mojstrovka.gpx"))


@pytest.mark.parametrize(
    ("track", "sentence"),
    [
        (None, r"has 4 tracks \(1: 0 points, 2: 358 points.*choose with track = 2"),
        (1, "track is 1, which is empty"),
        (2, r"line 33: track has no time at 358 of 358 points"),
        (5, "track is 5, allowed is 1 to 4"),
    ],
)
def test_real_mountain_tracks_that_cannot_be_runs_are_refused(track, sentence):
    with pytest.raises(InputError, match=sentence):
        read_gpx(real("hill-gpx/korita-zbevnica.gpx"), track=track)


def test_real_mountain_track_with_times_gives_a_course_with_grade():
    recording = read_gpx(real("hill-gpx/korita-zbevnica.gpx"), track=3)
    assert len(recording.time_s) == 176 and not recording.has("heart_rate_bpm")
    effort = Effort.from_recording(recording, grade="elevation")
    assert effort.recorded is None
    climbed = np.sum(effort.grade_pct / 100 * effort.speed_m_s * (effort.end_s - effort.start_s))
    assert climbed == pytest.approx(recording.elevation_m[-1] - recording.elevation_m[0], abs=25)
    assert any("moving median then mean over 100 m" in sentence for sentence in effort.warnings())


def test_notes_hold_no_folder():
    recording = read_delimited(real("run-records-5s/compressed-speed-distance-records.csv"), RUN_COLUMNS)
    assert recording.source == "compressed-speed-distance-records.csv"
    assert not any("/" in note and str(DATA) in note for note in recording.notes)


# Invented recordings


def test_units_by_name_are_converted_and_said(tmp_path):
    path = written(
        tmp_path, "t;v;d;c\n0;12,0;0;160\n".replace("12,0", "12.0") + "1;12;0.003;160\n2;NA;0.006;162\n"
    )
    columns = {"time_min": "t", "speed_km_h": "v", "distance_km": "d", "cadence_spm": "c"}
    recording = read_delimited(path, columns)
    assert recording.time_s.tolist() == [0, 60, 120]
    assert recording.speed_m_s[:2].tolist() == pytest.approx([10 / 3, 10 / 3]) and np.isnan(
        recording.speed_m_s[2]
    )
    assert recording.distance_m.tolist() == [0, 3, 6] and recording.cadence_rpm.tolist() == [80, 80, 81]
    assert any("km/h to m/s" in note for note in recording.notes)


def test_pace_and_iso_stamps(tmp_path):
    path = written(tmp_path, "when\tpace\n2026-07-01T06:30:00+02:00\t5:00\n2026-07-01T04:30:05Z\t4.0\n")
    recording = read_delimited(path, {"time": "when", "pace_min_km": "pace"})
    assert recording.time_s.tolist() == [0, 5]
    assert recording.speed_m_s.tolist() == pytest.approx([1000 / 300, 1000 / 240])


def test_grade_of_an_even_climb_is_found(tmp_path):
    rows = "\n".join(f"{5 * k},{15 * k},{100 + 15 * k * 0.06 + (-1) ** k * 0.5}" for k in range(200))
    path = written(tmp_path, f"s,m,ele\n{rows}\n")
    recording = read_delimited(path, {"time_s": "s", "distance_m": "m", "elevation_m": "ele"})
    effort = Effort.from_recording(recording, grade="elevation")
    assert np.median(effort.grade_pct) == pytest.approx(6.0, abs=0.3)
    assert effort.speed_m_s.tolist() == pytest.approx([3.0] * 199)
    assert Effort.from_recording(recording).grade_pct.tolist() == [0.0] * 199


def test_a_strap_without_contact_is_missing_not_zero(tmp_path):
    path = written(tmp_path, "s,hr\n0,120\n1,0\n2,122\n")
    recording = read_delimited(path, {"time_s": "s", "heart_rate_bpm": "hr"})
    assert np.isnan(recording.heart_rate_bpm[1])
    assert any("no contact" in note and "line 3" in note for note in recording.notes)


def test_gap_rule():
    assert find_gaps(np.arange(0.0, 100.0)) == ()
    assert find_gaps(np.array([0.0, 1, 2, 32])) == ()  # 30 s is not above 30 s
    assert find_gaps(np.array([0.0, 1, 2, 33])) == ((2.0, 33.0),)
    assert find_gaps(np.array([0.0, 20, 40, 90, 110])) == ()  # below three median steps


def test_speed_and_distance_that_disagree_are_said(tmp_path):
    rows = "\n".join(f"{k},3.0,{2.0 * k}" for k in range(50))
    recording = read_delimited(
        written(tmp_path, f"s,v,d\n{rows}\n"), {"time_s": "s", "speed_m_s": "v", "distance_m": "d"}
    )
    assert any(
        "Speed adds up to 0.15 km, the distance is 0.10 km" in s
        for s in Effort.from_recording(recording).notes
    )


def test_gpx_extensions_are_read_by_local_name_whatever_the_prefix(tmp_path):
    recording = read_gpx(VALID / "invented.gpx")
    assert recording.heart_rate_bpm[:3].tolist() == [120, 121, 122]
    assert recording.cadence_rpm[0] == 84 and any(
        "not taken as air temperature" in note for note in recording.notes
    )
    assert np.median(recording.speed_m_s) == pytest.approx(3.0, rel=0.01)
    text = (VALID / "invented.gpx").read_text()
    other = written(tmp_path, text.replace("x:", "zz:").replace("xmlns:x", "xmlns:zz"), "b.gpx")
    np.testing.assert_array_equal(read_gpx(other).heart_rate_bpm, recording.heart_rate_bpm)


def test_content_tells_gpx_from_text():
    assert read_recording(VALID / "invented.gpx").has("heart_rate_bpm")
    columns = {"time": "Stamp", "heart_rate_bpm": "Pulse"}
    assert read_recording(VALID / "invented.csv", columns).has("heart_rate_bpm")
    with pytest.raises(InputError, match="has no column map; declare columns"):
        read_recording(VALID / "invented.csv")


# Refusals: every one a sentence with file and line


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("s,hr\n0,120\n5,121\n4,122\n", r"morning.csv, line 4: time_s: time runs backwards .*sort the rows"),
        ("s,hr\n0,120\n5,121\n5,122\n", r"morning.csv, line 4: time_s: time repeats .*cut the repeated row"),
        ("s,hr\n0,120\nnull,121\n5,122\n", r"morning.csv, line 3: time_s is empty"),
        ("s,hr\n0,120\n5,a lot\n", r"line 3: heart_rate_bpm is 'a lot', allowed are finite numbers"),
        ("s,hr\n0,120\n5,inf\n", r"line 3: heart_rate_bpm is 'inf'"),
        ("s;hr\n0;120\n5;121,5\n", r"line 3: heart_rate_bpm is '121,5', .*use a decimal point"),
        ("s,hr\n0,120\n5\n", r"line 3: has 1 cells, the header has 2"),
        ("s,hr\n0,120\n", r"has 1 samples, needed are two"),
        ("s,hr\n", r"needed are a header and at least one row"),
        (
            "s,pulse\n0,120\n5,121\n",
            r'line 1: heart_rate_bpm: column .hr. is not there, the columns are "s", "pulse"',
        ),
        ("s,hr,hr\n0,120,1\n5,121,1\n", r"line 1: 'hr' stands 2 times in the header"),
        ("s,hr\n0,1200\n5,1210\n", r"line 2: heart_rate_bpm is 1200 bpm and out of range in 2 of 2"),
        ("s,hr\n0,120\n500000,121\n", r"lasts 138.9 h, allowed is up to 25 h"),
    ],
)
def test_broken_text_is_refused_in_one_sentence(text, sentence, tmp_path):
    path = written(tmp_path, text)
    with pytest.raises(InputError, match=sentence) as refused:
        read_delimited(path, {"time_s": "s", "heart_rate_bpm": "hr"})
    assert "\n" not in str(refused.value)


def test_speed_in_km_h_under_the_wrong_name_is_refused_with_the_remedy(tmp_path):
    path = written(tmp_path, "s,v\n0,12\n5,12.5\n10,12\n")
    with pytest.raises(
        InputError, match=r"looks like km/h: 12 km/h is 3.33 m/s, so map the column as speed_km_h"
    ):
        read_delimited(path, {"time_s": "s", "speed_m_s": "v"})


def test_falling_distance_is_refused(tmp_path):
    path = written(tmp_path, "s,d\n0,0\n5,10\n10,3\n")
    with pytest.raises(InputError, match=r"line 4: distance_m runs backwards \(3 m after 10 m\)"):
        read_delimited(path, {"time_s": "s", "distance_m": "d"})


POINT = '<trkpt lat="{}" lon="1"><time>2026-07-01T02:30:{:02d}Z</time>{}</trkpt>'


def track(*points: str) -> str:
    return f"<gpx version='1.1' creator='x'>\n<trk><trkseg>\n{chr(10).join(points)}\n</trkseg></trk></gpx>"


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (track(), "has only empty tracks"),
        ("<gpx version='1.1' creator='x'></gpx>", "has no track"),
        (
            track(POINT.format(1, 5, ""), POINT.format(1, 4, "")),
            r"line 4: time: runs backwards by 1 s at point 2",
        ),
        (track(POINT.format(1, 5, ""), POINT.format(1, 5, "")), r"line 4: time: repeats at 1 of 2 points"),
        (
            track(POINT.format(1, 5, ""), '<trkpt lat="1" lon="1"></trkpt>'),
            r"line 4: track has no time at 1 of 2",
        ),
        (
            track(POINT.format(1, 5, "<extensions><hr>x</hr></extensions>"), POINT.format(1, 6, "")),
            r"line 3: heart_rate_bpm is 'x'",
        ),
        (track(POINT.format("north", 5, ""), POINT.format(1, 6, "")), "is not a readable GPX file"),
        ("<gpx><trk>", r"line 1: is not well-formed XML"),
        ('<!DOCTYPE a [<!ENTITY b "c">]><gpx>&b;</gpx>', "declares a document type, entities"),
    ],
)
def test_broken_gpx_is_refused_in_one_sentence(text, sentence, tmp_path):
    path = written(tmp_path, text, "morning.gpx")
    with pytest.raises(InputError, match=sentence) as refused:
        read_gpx(path)
    assert str(refused.value).startswith(str(path)) and "\n" not in str(refused.value)
