"""Lap times of mended logs stay within 0.03 s of the clean one's, in every format.

Invented laps; the faults are those of the project's list whose outcome is "repaired". The bar of
0.03 s is the project's own.
"""

from __future__ import annotations

import importlib.util
import io
import sys
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from lapwright.messages import worst_outcome
from lapwright.model.repair import repair_recording
from lapwright.readers import read_log
from lapwright.workflow.session import build_session

WITHIN_S = 0.03
#: On the invented ring at an angle of one radian, where the laps are cut.
START = (46.5 + 276.84 / 111_150.0, 9.25 + 177.76 / 76_740.0)


def load(name):
    """Another test module of this folder, for its writers of GPX and NMEA."""
    spec = importlib.util.spec_from_file_location(f"writers_{name}", Path(__file__).parent / name)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


GPX, NMEA = load("test_gpx.py"), load("test_nmea.py")


def time_laps(path):
    """Lap times by number, those that count, and the outcome of reading and repairing."""
    recording = repair_recording(read_log(path))
    session = build_session([recording], start=START)
    times = {lap.number: lap.time_s for lap in session.laps if lap.used}
    return times, worst_outcome(recording.messages)


@pytest.fixture(scope="module")
def truth(tmp_path_factory):
    """Times of the two whole laps in the clean log."""
    path = tmp_path_factory.mktemp("clean") / "s.csv"
    columns = make()
    path.write_text("\n".join(lines_of(columns)) + "\n")
    times, outcome = time_laps(path)
    assert outcome == "accepted"
    assert len(times) == 3
    return times


CONFTEST = load("conftest.py")
lines_of = CONFTEST.render_lines


def make(rate_hz=20.0):
    return CONFTEST.make_columns(rate_hz=rate_hz, laps=4.0)


def replace_cell(lines, row, name, text):
    at = next(i for i, cell in enumerate(lines[0].split(",")) if cell.startswith(name))
    cells = lines[row].split(",")
    cells[at] = text
    lines[row] = ",".join(cells)


def short_rows(_columns, lines):
    for row in (812, 1790, 2011):
        lines[row] = ",".join(lines[row].split(",")[:7])
    return lines


def zero_bytes(_columns, lines):
    lines[1000:1004] = ["\0" * 100] * 4
    return lines


def words(_columns, lines):
    for row in range(900, 2200, 40):
        for name in ("speed", "lat", "brake"):
            replace_cell(lines, row + len(name), name, "ERR")
    return lines


def infinite(_columns, lines):
    for row in (850, 851, 1900):
        replace_cell(lines, row, "speed", "1e400")
    return lines


def huge_cell(_columns, lines):
    lines[976] = "x" * 300_000 + lines[976]
    return lines


def open_quote(_columns, lines):
    lines[1632] += '"'
    return lines


def block_twice(_columns, lines):
    return [*lines[:2200], *lines[2160:2200], *lines[2200:]]


def rows_late(_columns, lines):
    lines[1500:1525] = [*lines[1510:1525], *lines[1500:1510]]
    return lines


def changed(columns, lines, **new):
    del lines
    names = {name.split(" ")[0]: name for name in columns}
    return lines_of(columns | {names[k]: v for k, v in new.items()})


def clock_to_zero(columns, lines):
    t = columns["time (s)"]
    return changed(columns, lines, time=np.where(t >= 99.25, t - 99.25, t))


def hour_ahead(columns, lines):
    t = columns["time (s)"]
    return changed(columns, lines, time=t + 3600.0 * (t >= 100.0))


def whole_seconds(columns, _lines):
    columns.pop("utc (s)")
    columns["time (s)"] = np.floor(columns["time (s)"])
    return lines_of(columns)


def jumps(columns, lines):
    lat = columns["lat (deg)"].copy()
    lat[[1207, 1214, 2500]] += 143.0 / 111_150.0
    return changed(columns, lines, lat=lat)


def no_fix(columns, lines):
    lat, lon = columns["lat (deg)"].copy(), columns["lon (deg)"].copy()
    lat[:36] = lon[:36] = 0.0
    return changed(columns, lines, lat=lat, lon=lon)


def speed_zero(columns, lines):
    speed = columns["speed (m/s)"].copy()
    speed[1166:1174] = 0.0
    return changed(columns, lines, speed=speed)


def spikes(columns, lines):
    brake = columns["brake (bar)"].copy()
    brake[[1223, 1260, 1290]] = 4410.0
    return changed(columns, lines, brake=brake)


def year_1970(columns, lines):
    utc = columns["utc (s)"].copy()
    utc[:24] -= utc[0]
    return changed(columns, lines, utc=utc)


def cut_line(_columns, lines):
    lines[-1] = lines[-1][:40]
    return lines


TABLES = [
    short_rows, zero_bytes, words, infinite, huge_cell, open_quote, block_twice, rows_late,
    clock_to_zero, hour_ahead, whole_seconds, jumps, no_fix, speed_zero, spikes, year_1970,
    cut_line,
]  # fmt: skip


@pytest.mark.parametrize("spoil", TABLES, ids=lambda f: f.__name__)
def test_mended_tables_keep_their_lap_times(truth, tmp_path, spoil):
    columns = make()
    lines = spoil(columns, lines_of(columns))
    path = tmp_path / "s.csv"
    path.write_text("\n".join(lines) + ("" if spoil is cut_line else "\n"))
    times, outcome = time_laps(path)
    assert outcome == "repaired"
    check(times, truth)


def check(times, truth):
    assert set(times) == set(truth)
    for number, time in truth.items():
        assert times[number] == pytest.approx(time, abs=WITHIN_S)


def gpx_points():
    return GPX.render_points(make(10.0))


def test_gpx_and_its_faults(truth, tmp_path):
    points = gpx_points()
    path = tmp_path / "s.gpx"
    half = len(points) // 2
    bad = list(points)
    for row in (100, 700, 1301):
        bad[row] = bad[row].replace('lat="', 'lat="9')
    for lines, expected in (
        (GPX.track(points), "accepted"),
        (GPX.track(bad), "repaired"),
        (GPX.track([*points[:half], *points[half + 10 :], *points[half : half + 10]]), "repaired"),
        ([*GPX.track(points)[:-8], points[-1][:50]], "repaired"),
    ):
        path.write_text("\n".join(lines))
        times, outcome = time_laps(path)
        assert outcome == expected
        check(times, truth)


def test_nmea_and_its_faults(truth, tmp_path):
    sentences = NMEA.render(make(10.0), ("RMC", "GGA"))
    path = tmp_path / "s.nmea"
    wrong = list(sentences)
    for row in range(40, len(wrong) - 40, 61):
        wrong[row] = NMEA.spoil(wrong[row])
    flood = list(sentences)
    flood[1000] += "\r" * 5_000
    for lines, expected in ((sentences, "accepted"), (wrong, "repaired"), (flood, "repaired")):
        path.write_text("\n".join(lines) + "\n")
        times, outcome = time_laps(path)
        assert outcome == expected
        check(times, truth)


def clean(_columns, lines):
    return lines


def frame_of(spoil):
    """The columns of a spoilt table, words as text, and whether it was spoilt at all."""
    columns = make()
    text = "\n".join(spoil(columns, lines_of(columns))) + "\n"
    frame = pl.read_csv(io.StringIO(text), infer_schema_length=None)
    return frame, "accepted" if spoil is clean else "repaired"


#: Faults that a file of columns can have; rows that are short or garbled are the tables' own.
COLUMNS = [
    clean, words, infinite, block_twice, rows_late, clock_to_zero, hour_ahead, whole_seconds, jumps,
    no_fix, speed_zero, spikes, year_1970,
]  # fmt: skip


@pytest.mark.parametrize("spoil", COLUMNS, ids=lambda f: f.__name__)
def test_mended_parquet_keeps_its_lap_times(truth, tmp_path, spoil):
    path = tmp_path / "s.parquet"
    frame, expected = frame_of(spoil)
    frame.write_parquet(path)
    times, outcome = time_laps(path)
    assert outcome == expected
    check(times, truth)


#: Faults of values alone: the masters of MDF increase, and its channels hold numbers.
VALUES = [clean, infinite, jumps, no_fix, speed_zero, spikes, year_1970]


@pytest.mark.parametrize("spoil", VALUES, ids=lambda f: f.__name__)
def test_mended_mdf_keeps_its_lap_times(truth, tmp_path, spoil):
    """Of the clean log, the position is at 10 Hz in a group of its own."""
    asammdf = pytest.importorskip("asammdf", reason="the optional extra mdf is not installed")
    path = tmp_path / "s.mf4"
    frame, expected = frame_of(spoil)
    time = frame["time (s)"].to_numpy()
    fast, slow = [], []
    for series in frame.drop("time (s)"):
        name, _, unit = series.name.removesuffix(")").partition(" (")
        is_slow = spoil is clean and name in ("lat", "lon", "alt")
        step = 2 if is_slow else 1
        values = series.to_numpy()[::step].astype(float)
        signal = asammdf.Signal(values, time[::step], unit=unit, name=name)
        (slow if is_slow else fast).append(signal)
    with asammdf.MDF(version="4.10") as mdf:
        for group in filter(None, (fast, slow)):
            mdf.append(group)
        mdf.save(path, overwrite=True)
    times, outcome = time_laps(path)
    assert outcome == expected
    check(times, truth)
