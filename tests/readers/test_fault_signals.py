"""Faulty signals: the outcome of each and what its message says.

The cases are invented; their numbers (S01 …) are those of the project's list of faults.
"""

from __future__ import annotations

import os

import numpy as np
import pytest

from lapwright.readers import read_mapping, write_mapping
from lapwright.workflow.inspect import inspect_log


def spans(inspection, channel, kind="marked"):
    listed = getattr(inspection.recording, kind)
    return [(s.from_s, s.to_s) for s in listed if s.channel == channel]


def rows_at(columns, start, end):
    t = columns["time (s)"]
    return (t >= start - 1e-9) & (t < end - 1e-9)


def test_s01_dropout(expect, columns, put):
    at = rows_at(columns, 71.2, 74.2)
    distance = columns["distance (m)"][at]
    for name in ("lat (deg)", "lon (deg)"):
        columns[name][at] = np.nan
    message, inspection = expect(
        put(columns), "flagged", "t = 71.2–74.2 s", "channel lat, lon",
        "no position for 3.0 s (about", "speed and yaw rate", "Line not judged there",
    )  # fmt: skip
    assert (message.start_s, message.end_s) == pytest.approx((71.15, 74.20))
    # The chord that the message states is no longer than the distance driven.
    stated = float(message.text.split("(about ")[1].split(" m)")[0])
    assert 0.7 * np.ptp(distance) < stated < 1.05 * np.ptp(distance)
    assert spans(inspection, "latitude") == [pytest.approx((71.15, 74.20))]


def test_s02_frozen_position(expect, columns, put):
    at = np.flatnonzero(rows_at(columns, 71.0, 75.0))
    for name in ("lat (deg)", "lon (deg)"):
        columns[name][at] = columns[name][at[0]]
    message, inspection = expect(
        put(columns), "flagged", "channel lat, lon", "position stands still at", "frozen"
    )
    assert message.start_s == pytest.approx(71.0, abs=0.06)
    assert message.end_s == pytest.approx(74.95, abs=0.06)
    assert len(inspection.messages) == 1


def test_s03_jumps(expect, columns, put):
    t = columns["time (s)"]
    for moment, metres in ((60.35, 143.0), (60.70, 88.0)):
        at = np.argmin(np.abs(t - moment))
        columns["lat (deg)"][at] += metres / 111_150.0
    message, inspection = expect(
        put(columns), "repaired", "channel lat, lon", "2 samples 143 m and 88 m off the path",
        "Removed", "0.10 s",
    )  # fmt: skip
    assert (message.start_s, message.end_s) == pytest.approx((60.35, 60.70))
    latitude = inspection.recording.channels["latitude"].values
    assert np.isnan(latitude).sum() == 2
    assert len(spans(inspection, "latitude", "repairs")) == 2


@pytest.mark.parametrize("noise_m", [0.3, 0.6])
def test_s03_jumps_in_noise(expect, build, put, noise_m):
    columns = build(rate_hz=10.0, noise_m=noise_m)
    columns["lon (deg)"][700] += 10.0 * noise_m / 0.3 / 76_740.0
    message, inspection = expect(put(columns), "repaired", "1 sample", "off the path")
    assert message.start_s == pytest.approx(70.0)
    assert np.isnan(inspection.recording.channels["longitude"].values).sum() == 1


def test_s04_shifted_stretch(expect, columns, put):
    at = rows_at(columns, 66.1, 76.1)
    columns["lat (deg)"][at] += 17.0 / 111_150.0
    message, _ = expect(put(columns), "flagged", "17 m beside", "jumps back", "not judged")
    assert message.start_s == pytest.approx(66.1, abs=0.06)
    assert message.end_s == pytest.approx(76.05, abs=0.06)


def test_s07_zeros_before_the_first_fix(expect, columns, put):
    for name in ("lat (deg)", "lon (deg)"):
        columns[name][:36] = 0.0
    message, inspection = expect(
        put(columns), "repaired", "36 samples at 0, 0 before the first fix", "Dropped"
    )
    assert message.start_s == 0.0
    assert len(inspection.messages) == 1


def test_s08_clock_back_to_zero(expect, columns, put):
    columns["time (s)"] = np.where(
        columns["time (s)"] >= 99.25, columns["time (s)"] - 99.25, columns["time (s)"]
    )
    expect(
        put(columns), "repaired", "line 1987", "channel time", "falls from 99.20 to 0.00 s",
        "utc runs on", "Time rebuilt from utc",
    )  # fmt: skip


def test_s08_rebuilt_time_is_right(expect, columns, put):
    truth = columns["time (s)"].copy()
    columns["time (s)"] = np.where(truth >= 99.25, truth - 99.25, truth)
    _, inspection = expect(put(columns), "repaired", "falls from")
    np.testing.assert_allclose(inspection.recording.channels["speed"].time, truth, atol=1e-4)


def test_s09_step_of_an_hour(expect, columns, put):
    truth = columns["time (s)"].copy()
    columns["time (s)"] = truth + 3600.0 * (truth >= 100.0)
    _, inspection = expect(
        put(columns), "repaired", "line 2002", "steps by 3600.05 s while utc steps by 0.05 s",
        "3600.00 s removed from",
    )  # fmt: skip
    np.testing.assert_allclose(inspection.recording.channels["speed"].time, truth, atol=1e-3)


def test_s10_rows_late(expect, columns, put):
    order = np.arange(columns["time (s)"].size)
    order[1498:1523] = np.concatenate([np.arange(1508, 1523), np.arange(1498, 1508)])
    spoilt = {k: v[order] for k, v in columns.items()}
    message, inspection = expect(
        put(spoilt), "repaired", "lines 1515–1524", "channel time", "10 rows out of order", "Sorted"
    )
    assert message.line == 1515
    got = inspection.recording.channels["speed"]
    np.testing.assert_allclose(got.values, columns["speed (m/s)"], atol=5.1e-5)


def test_s11_whole_seconds(expect, columns, put):
    truth = columns["time (s)"].copy()
    columns.pop("utc (s)")
    columns["time (s)"] = np.floor(truth)
    _, inspection = expect(put(columns), "repaired", "channel time", "20 rows share each stamp")
    np.testing.assert_allclose(inspection.recording.channels["speed"].time, truth, atol=0.051)


def test_s12_block_twice(expect, columns, put, render):
    lines = render(columns)
    block = lines[2160:2200]  # lines 2161 to 2200
    spoilt = [*lines[:2200], *block, *lines[2200:]]
    message, inspection = expect(
        put(spoilt), "repaired", "lines 2201–2240", "40 rows repeat lines 2161–2200", "Dropped"
    )
    assert message.line == 2201
    assert len(inspection.messages) == 1
    assert inspection.recording.channels["speed"].time.size == len(lines) - 1


@pytest.mark.parametrize("how", ["stated", "written", "only date"])
def test_s14_week_counter_begun_anew(expect, columns, put, render, how):
    """1024 weeks are 7168 days; the file's date is stated in it, or is when it was written."""
    utc = columns["utc (s)"].copy()
    columns["utc (s)"] = utc - 7168 * 86_400.0
    clean = columns["time (s)"].copy()
    if how == "only date":
        columns.pop("time (s)")
    lines = render(columns)
    path = put(["Date,2026-05-09", "", *lines] if how == "stated" else lines)
    os.utime(path, (utc[-1], utc[-1] + 3600.0))
    message, inspection = expect(
        path, "repaired", "channel utc", "2006-09-23 is 1 024 weeks before the file's date",
        "Date moved by 7 168 days; lap times untouched",
    )  # fmt: skip
    assert message.channel == "utc"
    assert len(inspection.messages) == 1
    channels = inspection.recording.channels
    np.testing.assert_allclose(channels["utc"].values, utc, atol=1e-3)
    np.testing.assert_allclose(channels["speed"].time, clean, atol=1e-4)


def test_old_recordings_keep_their_date(columns, put):
    columns["utc (s)"] = columns["utc (s)"] - 7168 * 86_400.0
    path = put(columns)
    for moment in (columns["utc (s)"][-1], columns["utc (s)"][-1] + 7300 * 86_400.0):
        os.utime(path, (moment, moment))
        assert inspect_log(path).messages == ()


def test_l10_two_places(columns, put):
    second = columns["time (s)"] >= 110.0
    columns["lat (deg)"] = columns["lat (deg)"] + 40_000.0 / 111_195.0 * second
    path = put(columns)
    line = int(np.argmax(second)) + 2
    inspection = inspect_log(path)
    assert inspection.outcome == "ask"
    message = next(m for m in inspection.messages if m.outcome == "ask")
    assert message.text.startswith(
        f"s.csv, line {line}: position moves 40.0 km in 0.05 s and stays"
    )
    assert message.line == line
    assert message.answer == "--set file.part=1"
    for part, rows in (("1", ~second), ("2", second)):
        answered = inspect_log(path, unit_answers={"file.part": part})
        assert answered.outcome == "accepted", [m.text for m in answered.messages]
        speed = answered.recording.channels["speed"].values
        np.testing.assert_allclose(speed, columns["speed (m/s)"][rows], atol=5.1e-5)
    assert inspect_log(path, accept_offered=True).outcome == "repaired"


def test_s16_milliseconds_as_seconds(expect, columns, put):
    columns["time (s)"] = 1000.0 * columns["time (s)"]
    message, _ = expect(
        put(columns), "ask", "channel time", "step of 50 s", "utc steps by 0.05 s", "Read as ms?"
    )
    assert message.answer == "--set time.unit=ms"
    answered = inspect_log(put(columns), unit_answers={"time.unit": "ms"})
    assert answered.outcome == "accepted"


@pytest.mark.parametrize(
    ("factor", "unit"),
    # mi/h and kn: SI Brochure / NIST SP 811 values (0.44704 m/s; 1852/3600 m/s), from memory.
    [(3.6, "km/h"), (1.0 / 0.44704, "mph"), (3600.0 / 1852.0, "kn")],
)
def test_s17_s18_speed_in_another_unit(expect, columns, put, factor, unit):
    truth = columns["speed (m/s)"].copy()
    columns["speed (m/s)"] = factor * truth
    path = put(columns)
    message, _ = expect(
        path, "ask", "channel speed", "times the speed from positions", 'under "m/s"',
        f"Read as {unit}?",
    )  # fmt: skip
    stated = float(message.text.split("channel speed: ")[1].split(" times")[0])
    assert stated == pytest.approx(factor, rel=0.005)
    assert message.answer == f"--set speed.unit={unit}"
    answered = inspect_log(path, unit_answers={"speed.unit": unit})
    assert answered.outcome == "accepted"
    got = answered.recording.channels["speed"]
    np.testing.assert_allclose(got.values, truth, atol=1e-3)
    assert got.how_known == "mapping"
    taken = inspect_log(path, accept_offered=True)
    assert taken.outcome == "repaired"
    np.testing.assert_allclose(taken.recording.channels["speed"].values, truth, atol=1e-3)
    assert [s for s in taken.recording.repairs if s.channel == "speed"]


def test_speed_under_kmh_that_is_in_metres_per_second(expect, columns, put):
    columns["speed (km/h)"] = columns.pop("speed (m/s)")
    expect(put(columns), "ask", "0.278 times", 'under "km/h"', "Read as m/s?")


def test_speed_without_a_unit_is_told_by_physics(expect, columns, put):
    truth = columns.pop("speed (m/s)")
    columns["speed"] = 3.6 * truth
    _, inspection = expect(put(columns), "repaired", "no unit", "3.6 times", "Read as km/h")
    got = inspection.recording.channels["speed"]
    assert got.how_known == "physics"
    np.testing.assert_allclose(got.values, truth, atol=1e-3)


def test_speed_without_a_unit_that_fits_is_accepted(columns, put):
    columns["speed"] = columns.pop("speed (m/s)")
    inspection = inspect_log(put(columns))
    assert inspection.messages == ()
    assert inspection.recording.channels["speed"].how_known == "physics"


def test_s19_g_as_metres_per_second_squared(expect, columns, put):
    truth = columns["acc_y (m/s^2)"].copy()
    for name in ("acc_x (m/s^2)", "acc_y (m/s^2)"):
        columns[name] = columns[name] / 9.80665
    path = put(columns)
    message, _ = expect(
        path, "ask", "channel acc_y", "0.102 times the speed × yaw rate", 'under "m/s^2"',
        "Read as g?",
    )  # fmt: skip
    assert message.answer == "--set acceleration_left.unit=g"
    taken = inspect_log(path, accept_offered=True)
    got = taken.recording.channels["acceleration_left"].values
    np.testing.assert_allclose(got, truth, atol=1e-3)


def test_s20_degrees_and_minutes(expect, columns, put):
    truth = columns["lat (deg)"].copy()
    for name in ("lat (deg)", "lon (deg)"):
        degrees = np.floor(columns[name])
        columns[name] = 100.0 * degrees + 60.0 * (columns[name] - degrees)
    path = put(columns)
    message, _ = expect(path, "ask", "channel lat", "outside ±90 deg", "Read as 46 deg 30.", "min?")
    assert message.answer == "--set latitude.unit=ddmm.mmmm"
    answered = inspect_log(path, accept_offered=True)
    assert answered.outcome == "repaired", [m.text for m in answered.messages]
    got = answered.recording.channels["latitude"].values
    np.testing.assert_allclose(got, truth, atol=1e-7)


def test_s21_stuck_throttle(expect, columns, put):
    at = np.flatnonzero(rows_at(columns, 85.7, 126.6))
    columns["throttle (%)"][at] = 37.2
    message, inspection = expect(put(columns), "flagged", "channel throttle", "37.2 % throughout")
    assert message.start_s == pytest.approx(85.7, abs=0.06)
    assert spans(inspection, "throttle") == [pytest.approx((85.7, 126.55), abs=0.06)]


def test_released_and_full_pedals_are_not_stuck(columns, put):
    t = columns["time (s)"]
    columns["brake (bar)"][(t > 20.0) & (t < 60.0)] = 0.0
    columns["throttle (%)"] = np.where((t > 40.0) & (t < 60.0), 100.0, columns["throttle (%)"])
    columns["throttle (%)"] = np.where((t > 80.0) & (t < 95.0), 0.0, columns["throttle (%)"])
    columns["gear"][:] = 3.0
    inspection = inspect_log(put(columns))
    assert [m.text for m in inspection.messages] == []


def test_s22_impossible_zero_speed(expect, columns, put):
    at = rows_at(columns, 58.3, 58.7)
    columns["speed (m/s)"][at] = 0.0
    message, inspection = expect(
        put(columns), "repaired", "channel speed", "0 m/s for 0.4", "8 samples removed", "m/s²"
    )
    assert message.start_s == pytest.approx(58.3)
    assert np.isnan(inspection.recording.channels["speed"].values).sum() == 8


def test_s23_clipped(expect, columns, put):
    name = "acc_y (m/s^2)"
    columns[name] = np.clip(columns[name], -8.0, 8.0)
    message, _ = expect(put(columns), "flagged", "channel acc_y", "samples at", "8.00", "exactly")
    stated = int(message.text.split(": ")[1].split(" samples")[0])
    assert stated == (np.abs(np.round(columns[name], 4)) == 8.0).sum()


def test_s24_sign(expect, columns, put):
    truth = columns["acc_y (m/s^2)"].copy()
    columns["acc_y (m/s^2)"] = -truth
    message, inspection = expect(
        put(columns), "flagged", "channel acc_y", "against speed × yaw rate", "slope −1.0", "sign"
    )
    assert message.outcome == "flagged"
    got = inspection.recording.channels["acceleration_left"].values
    np.testing.assert_allclose(got, truth, atol=1e-4)


def test_s25_axes(expect, columns, put):
    columns["acc_x (m/s^2)"], columns["acc_y (m/s^2)"] = (
        columns["acc_y (m/s^2)"],
        columns["acc_x (m/s^2)"],
    )
    expect(put(columns), "flagged", "channel acc_y", "the axes look swapped", "not used")


def test_s26_bias(expect, columns, put):
    columns["acc_x (m/s^2)"] = columns["acc_x (m/s^2)"] + 2.9
    expect(put(columns), "flagged", "channel acc_x", "2.9 m/s² above the rate of change of speed")


def test_s27_spikes(expect, columns, put):
    t = columns["time (s)"]
    for moment, value in ((61.15, 1203.0), (62.0, 4410.0), (63.1, 2000.0), (64.8, 1500.0)):
        columns["brake (bar)"][np.argmin(np.abs(t - moment))] = value
    message, inspection = expect(
        put(columns), "repaired", "channel brake", "4 single samples of 1 203 to 4 410 bar",
        "Removed",
    )  # fmt: skip
    assert (message.start_s, message.end_s) == pytest.approx((61.15, 64.8))
    assert np.isnan(inspection.recording.channels["brake_pressure"].values).sum() == 4


def test_s31_slow_position_gets_a_clock_of_its_own(columns, put):
    """A 5 Hz position held in a 20 Hz file is no frozen sensor."""
    held = np.arange(columns["time (s)"].size) // 4 * 4
    for name in ("lat (deg)", "lon (deg)"):
        columns[name] = columns[name][held]
    inspection = inspect_log(put(columns))
    assert [m.text for m in inspection.messages] == []
    channels = inspection.recording.channels
    assert channels["latitude"].rate_hz == pytest.approx(5.0, rel=1e-3)
    assert channels["speed"].rate_hz == pytest.approx(20.0, rel=1e-3)
    np.testing.assert_allclose(channels["latitude"].values, columns["lat (deg)"][::4], atol=1e-8)


def test_s32_slow_position_in_empty_cells(columns, put):
    gaps = np.arange(columns["time (s)"].size) % 4 != 0
    for name in ("lat (deg)", "lon (deg)"):
        columns[name][gaps] = np.nan
    inspection = inspect_log(put(columns))
    assert [m.text for m in inspection.messages] == []
    assert inspection.recording.channels["latitude"].rate_hz == pytest.approx(5.0, rel=1e-3)


def test_one_hertz_position_in_a_fast_file(build, put):
    columns = build(rate_hz=100.0, laps=2.0)
    held = np.arange(columns["time (s)"].size) // 100 * 100
    for name in ("lat (deg)", "lon (deg)"):
        columns[name] = columns[name][held]
    inspection = inspect_log(put(columns))
    assert [m.text for m in inspection.messages] == []
    assert inspection.recording.channels["latitude"].rate_hz == pytest.approx(1.0, rel=1e-3)


def test_s35_four_decimals(expect, columns, put):
    for name in ("lat (deg)", "lon (deg)"):
        columns[name] = np.round(columns[name], 4)
    message, _ = expect(put(columns), "flagged", "steps of 11.", "No statement on line")
    assert message.channel == "lat, lon"


def test_jittering_stamps_of_a_regular_logger(build, put):
    columns = build(rate_hz=25.0)
    truth = columns["time (s)"].copy()
    rng = np.random.default_rng(11)
    columns["time (s)"] = truth + rng.uniform(-0.01, 0.01, truth.size)
    columns.pop("utc (s)")
    # 20 rows are missing: that gap is real and must stay.
    spoilt = {k: np.delete(v, np.arange(1000, 1020)) for k, v in columns.items()}
    inspection = inspect_log(put(spoilt))
    jitter = [m for m in inspection.messages if "jitter" in m.text]
    assert [m.outcome for m in jitter] == ["repaired"]
    assert "steps of 0.04 s" in jitter[0].text
    time = inspection.recording.channels["speed"].time
    left = np.delete(truth, np.arange(1000, 1020))
    assert np.max(np.abs(time - left)) < 0.003
    assert np.max(np.diff(time)) == pytest.approx(0.84, abs=0.006)


def test_truly_irregular_sampling_is_left_alone(build, put):
    """Where positions follow the stamps, the stamps are right however uneven."""
    columns = build(rate_hz=1000.0, laps=1.5)
    rng = np.random.default_rng(12)
    uneven = np.cumsum(rng.integers(30, 51, 1500))
    uneven = uneven[uneven < columns["time (s)"].size]
    kept = {k: v[uneven] for k, v in columns.items()}
    inspection = inspect_log(put(kept))
    assert not [m for m in inspection.messages if "jitter" in m.text]
    time = inspection.recording.channels["speed"].time
    np.testing.assert_allclose(time, kept["time (s)"], atol=1e-4)


def test_positions_handed_over_early_and_late_are_retimed(build, put):
    """Once a second the receiver's clock slips by 8 ms; speeds and stamps are right."""
    columns = build(rate_hz=25.0, noise_m=0.003)
    t = columns["time (s)"].copy()
    early = 0.008 * ((t % 1.0) - 0.5)
    for name in ("lat (deg)", "lon (deg)"):
        columns[name] = np.interp(t + early, t, columns[name])
    inspection = inspect_log(put(columns))
    said = [m for m in inspection.messages if "jitter" in m.text]
    assert [m.outcome for m in said] == ["repaired"], [m.text for m in inspection.messages]
    channel = inspection.recording.channels["latitude"]
    inside = slice(60, -60)
    before = np.sqrt(np.mean(early[inside] ** 2))
    left = channel.time[inside] - (t + early)[inside]
    assert np.sqrt(np.mean((left - left.mean()) ** 2)) < 0.5 * before


def test_roll_that_no_car_can_have(expect, columns, put):
    n = columns["time (s)"].size
    columns["roll (rad)"] = np.full(n, 0.9) + np.random.default_rng(1).normal(0, 0.5, n)
    _, inspection = expect(put(columns), "flagged", "channel roll", "not used")
    assert [s.what for s in inspection.recording.marked] == ["not used"]


def test_forward_acceleration_of_half_the_truth(expect, columns, put):
    columns["acc_x (m/s^2)"] = 0.5 * columns["acc_x (m/s^2)"]
    _, inspection = expect(
        put(columns), "flagged", "channel acc_x", "inconsistent", "slope 0.5", "not used"
    )
    marked = [s for s in inspection.recording.marked if s.channel == "acceleration_forward"]
    assert len(marked) == 1
    assert marked[0].to_s - marked[0].from_s == pytest.approx(columns["time (s)"][-1])


def test_compass_heading_is_turned(columns, put):
    lat, lon = columns["lat (deg)"], columns["lon (deg)"]
    north, east = np.gradient(lat) * 111_150.0, np.gradient(lon) * 76_740.0
    smooth = np.ones(11) / 11.0
    north, east = (np.convolve(c, smooth, mode="same") for c in (north, east))
    columns["heading (deg)"] = np.degrees(np.arctan2(east, north)) % 360.0
    inspection = inspect_log(put(columns))
    assert [m.text for m in inspection.messages] == []
    assert "compass" in inspection.recording.info["heading counts"]
    heading = inspection.recording.channels["heading"].values[50:-50]
    gap = heading - np.arctan2(north, east)[50:-50]
    assert np.max(np.abs((gap + np.pi) % (2 * np.pi) - np.pi)) < 1e-3


def test_unix_stamps_become_time_from_the_first_sample(columns, put):
    columns["time (s)"] = columns.pop("utc (s)") + 0.46380758
    inspection = inspect_log(put(columns))
    assert inspection.messages == ()
    recording = inspection.recording
    assert recording.channels["speed"].time[0] == 0.0
    assert recording.channels["utc"].values[0] == pytest.approx(1_778_320_000.4638)
    # 1778320000 s after 1970 is 2026-05-09 09:46:40 UTC (POSIX time, by Python's calendar).
    assert recording.info["time 0 is at"].startswith("2026-05-09T09:46:40.46")


@pytest.mark.parametrize(
    ("stamps", "first"),
    [
        (lambda t: [f"2026-05-09T10:{m:02.0f}:{s:06.3f}Z" for m, s in map(split, t)], 0.0),
        (lambda t: [f"{m:02.0f}:{s:06.3f}" for m, s in map(split, t)], 0.0),
        (lambda t: [f"23:{58 + m:02.0f}:{s:06.3f}" for m, s in map(split, t)], 0.0),
    ],
)
def test_stamps_as_text(columns, put, render, stamps, first):
    t = columns.pop("time (s)")[:2000]
    columns.pop("utc (s)")
    lines = render({k: v[:2000] for k, v in columns.items()})
    texts = stamps(t)
    lines = ["time," + lines[0], *[f"{s},{ln}" for s, ln in zip(texts, lines[1:], strict=True)]]
    inspection = inspect_log(put(lines))
    assert [m.text for m in inspection.messages] == []
    np.testing.assert_allclose(inspection.recording.channels["speed"].time, t + first, atol=1e-6)


def split(t):
    return t // 60.0, t % 60.0


def test_clock_past_midnight(columns, put, render):
    t = columns.pop("time (s)")[:2000]
    columns.pop("utc (s)")
    lines = render({k: v[:2000] for k, v in columns.items()})
    of_day = (86_400.0 - 30.0 + t) % 86_400.0
    texts = [f"{s // 3600:02.0f}:{s % 3600 // 60:02.0f}:{s % 60:06.3f}" for s in of_day]
    lines = ["time," + lines[0], *[f"{s},{ln}" for s, ln in zip(texts, lines[1:], strict=True)]]
    inspection = inspect_log(put(lines))
    assert [m.text for m in inspection.messages] == []
    np.testing.assert_allclose(inspection.recording.channels["speed"].time, t, atol=1e-6)


def test_s05_latitude_and_longitude_exchanged(expect, columns, put):
    truth = columns["lat (deg)"].copy()
    columns["lat (deg)"], columns["lon (deg)"] = columns["lon (deg)"], columns["lat (deg)"]
    path = put(columns)
    message, _ = expect(path, "ask", "channel lat, lon", "times the logged speed", "Exchange them?")
    assert message.answer == "--set latitude.column=lon --set longitude.column=lat"
    answers = {"latitude.column": "lon", "longitude.column": "lat"}
    answered = inspect_log(path, unit_answers=answers)
    assert answered.outcome == "accepted", [m.text for m in answered.messages]
    taken = inspect_log(path, accept_offered=True)
    assert taken.outcome == "repaired"
    np.testing.assert_allclose(taken.recording.channels["latitude"].values, truth, atol=1e-8)


def test_s06_mirrored_path(expect, columns, put):
    columns["lon (deg)"] = -columns["lon (deg)"]
    path = put(columns)
    message, _ = expect(path, "ask", "turns left where yaw rate says right", "longitude.invert")
    assert message.answer == "--set yaw_rate.invert=true"
    answered = inspect_log(path, unit_answers={"longitude.invert": "true"})
    assert answered.outcome == "accepted"


def test_c10_thousands_with_a_point(expect, columns, put):
    truth = columns["rpm (1/min)"].copy()
    columns["rpm (1/min)"] = truth / 1000.0
    path = put(columns)
    message, _ = expect(path, "ask", "channel rpm", "look like thousands with a point", "Import as")
    assert message.answer == "--set engine_speed.scale=1000"
    answered = inspect_log(path, unit_answers={"engine_speed.scale": "1000"})
    assert answered.outcome == "accepted", [m.text for m in answered.messages]
    got = answered.recording.channels["engine_speed"].values * 60.0 / (2.0 * np.pi)
    np.testing.assert_allclose(got, truth, atol=0.06)


def test_sensor_mounted_turned(expect, columns, put):
    """x' = x cos ψ + y sin ψ: an accelerometer turned by 20 degrees to the left."""
    angle = np.radians(20.0)
    x, y = columns["acc_x (m/s^2)"].copy(), columns["acc_y (m/s^2)"].copy()
    columns["acc_x (m/s^2)"] = x * np.cos(angle) + y * np.sin(angle)
    columns["acc_y (m/s^2)"] = y * np.cos(angle) - x * np.sin(angle)
    message, inspection = expect(put(columns), "flagged", "channel acc_x", "turned by 20 deg")
    assert "Kept" in message.text
    assert inspection.recording.marked == ()


@pytest.mark.parametrize("has_time", [True, False])
def test_s13_year_1970(expect, columns, put, has_time):
    truth = columns["time (s)"].copy()
    columns["utc (s)"][:24] -= columns["utc (s)"][0]
    if not has_time:
        columns.pop("time (s)")
    message, inspection = expect(
        put(columns), "repaired", "lines 2–25", "channel utc", "year 1970 before the first fix",
        "24 stamps reckoned back from line 26",
    )  # fmt: skip
    assert message.line == 2
    channels = inspection.recording.channels
    np.testing.assert_allclose(channels["utc"].values, 1_778_320_000.0 + truth, atol=1e-3)
    np.testing.assert_allclose(channels["speed"].time, truth, atol=1e-3)


def test_wild_stamp_among_unreadable_ones(columns, put, render):
    """One stamp a thousand hours ahead costs one stamp, not the file."""
    lines = render(columns)
    lines[500] = "3600000.0" + lines[500][lines[500].index(",") :]
    lines[501] = "?" + lines[501][lines[501].index(",") :]
    inspection = inspect_log(put(lines))
    assert inspection.outcome == "repaired"
    time = inspection.recording.channels["speed"].time
    np.testing.assert_allclose(time, columns["time (s)"], atol=1e-4)


def test_s22_frozen_speed(expect, columns, put):
    at = np.flatnonzero(rows_at(columns, 58.0, 66.0))
    columns["speed (m/s)"][at] = columns["speed (m/s)"][at[0]]
    message, inspection = expect(put(columns), "flagged", "channel speed", "where positions give")
    assert 57.0 < message.start_s < message.end_s < 67.0
    assert {s.channel for s in inspection.recording.marked} == {"speed"}


def test_position_that_comes_late_marks_nothing(columns, put):
    """A delay of 0.3 s between position and speed is no fault of the speed."""
    t = columns["time (s)"]
    for name in ("lat (deg)", "lon (deg)"):
        columns[name] = np.interp(t - 0.3, t, columns[name])
    inspection = inspect_log(put(columns))
    assert [m.text for m in inspection.messages] == []


def test_steering_positive_to_the_right_is_turned(expect, columns, put, tmp_path):
    truth = columns["steering (deg)"].copy()
    columns["steering (deg)"] = -truth
    path = put(columns)
    _, inspection = expect(path, "repaired", "channel steering", "positive to the right", "Turned")
    got = inspection.recording.channels["steering"].values
    np.testing.assert_allclose(got, np.radians(truth), atol=1e-5)
    write_mapping(inspection.recording, tmp_path / "m.toml")
    again = inspect_log(path, mapping=read_mapping(tmp_path / "m.toml"))
    assert again.outcome == "accepted"
    np.testing.assert_allclose(again.recording.channels["steering"].values, got, atol=1e-12)


def standing(columns, seconds):
    """The same log behind a stretch of standing still, with noise on the position only."""
    t = columns["time (s)"]
    n = round(seconds / (t[1] - t[0]))
    rng = np.random.default_rng(1)
    before = {name: np.zeros(n) for name in columns}
    for name in columns:
        if name.startswith(("time", "utc")):
            before[name] = columns[name][0] + (t[1] - t[0]) * np.arange(-n, 0)
        if name.startswith(("lat", "lon")):
            before[name] = columns[name][0] + rng.normal(0.0, 2e-7, n)
        if name.startswith(("alt", "gear", "lap", "distance")):
            before[name] = np.full(n, columns[name][0])
    return {name: np.concatenate([before[name], values]) for name, values in columns.items()}


def quantised(columns):
    """Whole km/h, whole degrees of steering, six decimals of position."""
    columns["speed (km/h)"] = np.round(3.6 * columns.pop("speed (m/s)"))
    columns["steering (deg)"] = np.round(columns["steering (deg)"])
    columns["rpm (1/min)"] = np.round(columns["rpm (1/min)"], -1)
    return columns | {n: np.round(columns[n], 6) for n in ("lat (deg)", "lon (deg)")}


def pedals_as_switches(columns):
    columns["throttle (%)"] = np.where(columns["throttle (%)"] > 50.0, 94.0, 4.0)
    columns["brake (bar)"] = np.where(columns["brake (bar)"] > 5.0, 30.0, 0.0)
    return columns


@pytest.mark.parametrize("rate_hz", [10.0, 20.0, 100.0])
@pytest.mark.parametrize(
    "change",
    [lambda c: standing(c, 40.0), quantised, pedals_as_switches],
    ids=["standing", "quantised", "switches"],
)
def test_nothing_sound_is_marked(build, put, change, rate_hz):
    inspection = inspect_log(put(change(build(rate_hz=rate_hz, laps=1.5))))
    assert [m.text for m in inspection.messages] == []


@pytest.mark.parametrize(("rate_hz", "laps"), [(1.0, 8.0), (2.0, 8.0), (5.0, 3.0)])
def test_slow_receivers_with_noise_give_no_message(build, put, rate_hz, laps):
    inspection = inspect_log(put(build(rate_hz=rate_hz, laps=laps, noise_m=0.5)))
    assert [m.text for m in inspection.messages] == []
