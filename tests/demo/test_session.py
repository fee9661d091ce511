"""The door: a session's log, truth and files. All data are invented."""

import csv
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import polars as pl
import pyproj
import pytest

from lapwright.demo import DRIVERS, Day, Sensors, Session, Style, make_session, write_demo
from lapwright.demo import layout as ly
from lapwright.demo.sensors import measure


@pytest.fixture(scope="module")
def session(coach: Session) -> Session:
    return coach


def measured(session: Session, sensors: Sensors) -> Session:
    """Log the same drive with other sensors."""
    channels = measure(session.rows, session.car, sensors, 11)
    return replace(session, log=replace(session.log, channels=channels, rate_hz=sensors.rate_hz))


def channel(session: Session, name: str) -> tuple[np.ndarray, np.ndarray]:
    _, t, values = session.log.channels[name]
    return t, values


def test_laps_are_out_timed_and_in(session: Session) -> None:
    laps = session.truth.laps
    assert [lap.kind for lap in laps] == ["out", *["timed"] * 4, "in"]
    assert all(a.end_s == b.start_s for a, b in pairwise(laps))
    assert not any(lap.off_road for lap in laps)


def test_lap_times_stand_in_the_log(session: Session) -> None:
    t, x = channel(session, "x")
    _, y = channel(session, "y")
    (x0, y0), (dx, dy) = session.start_line
    along = (x - x0) * dx + (y - y0) * dy
    across = -(x - x0) * dy + (y - y0) * dx
    hit = np.flatnonzero((along[:-1] < 0) & (along[1:] >= 0) & (np.abs(across[1:]) < 15))
    at = t[hit] - along[hit] / (along[hit + 1] - along[hit]) * (t[hit + 1] - t[hit])
    assert np.diff(at) == pytest.approx(session.truth.lap_times, abs=0.001)


def test_truth_agrees_with_itself(session: Session) -> None:
    truth = session.truth
    vx, vy = np.gradient(truth.x, truth.t), np.gradient(truth.y, truth.t)
    moving = slice(2000, -2000)
    level = np.hypot(vx, vy)
    assert np.abs(level / truth.v - 1)[moving].max() < 0.01
    assert np.abs(np.gradient(truth.heading, truth.t) - truth.yaw_rate)[moving].max() < 0.02
    turn = np.trapezoid(truth.yaw_rate, truth.t)
    assert truth.heading[-1] - truth.heading[0] == pytest.approx(turn, abs=0.01)
    # the centripetal force: what the car feels sideways is v times the turning of its path
    course = np.unwrap(np.arctan2(vy, vx))
    turning = np.gradient(course, truth.t) * level
    left = truth.ay
    hard = np.abs(left) > 8.0
    assert np.median(np.abs(turning - left)[hard]) < 0.25


def test_offsets_are_those_of_the_survey(session: Session) -> None:
    truth, grid = session.truth, session.circuit.grid
    k = np.arange(0, truth.t.size, 997)
    away = np.hypot(
        truth.x[k][:, None] - grid[:-1, ly.GX][None, :],
        truth.y[k][:, None] - grid[:-1, ly.GY][None, :],
    ).min(axis=1)
    # the nearest of points one metre apart lies up to half a metre along the road
    assert (away > np.abs(truth.n[k]) - 0.02).all()
    assert (away**2 < truth.n[k] ** 2 + 0.5**2 + 0.05).all()
    assert (np.abs(truth.n) < 6.5).all()


def test_true_actions_stand_in_the_pedals(session: Session) -> None:
    truth = session.truth
    for corner in truth.corners:
        if corner.lap in (1, 2) and corner.braked:
            k = int(np.searchsorted(truth.t, corner.brake_start_s - 1e-9))
            assert truth.brake[k - 30] < 0.01 < truth.brake[k + 30]
            assert truth.throttle[k + 60] < 0.2
            first = int(np.searchsorted(truth.t, corner.throttle_s - 1e-9))
            assert truth.throttle[first - 5] <= 0.02
            assert truth.s[k] == pytest.approx(corner.brake_start_m, abs=0.3)
            assert corner.off_full_s < corner.brake_start_s < corner.brake_end_s
            assert corner.brake_end_s <= corner.throttle_s <= corner.full_s


def test_the_same_seed_gives_the_same_bytes(tmp_path: Path) -> None:
    texts = []
    for k in range(2):
        paths = make_session("hasty", 1, 8, costs=False).write(tmp_path / str(k))
        texts.append(paths.log.read_bytes() + paths.survey.read_bytes())
    assert texts[0] == texts[1]
    other = make_session("hasty", 1, 9, costs=False).write(tmp_path / "other")
    assert other.log.read_bytes() != texts[0]


def test_nobody_writes_what_stands_beside_the_road_but_the_coach(tmp_path: Path) -> None:
    """It is read while the pupils are still driving, and was found empty then."""
    with write_demo(tmp_path, laps=1, pupil_laps=1) as written:
        coach = written.wait_for_coach()
        held = (coach.survey, coach.landmarks, coach.spans, coach.car)
        before = [(path.stat().st_mtime_ns, path.stat().st_size) for path in held]
    logs = written.wait_for_pupils()
    assert [(path.stat().st_mtime_ns, path.stat().st_size) for path in held] == before
    assert all(size > 0 for _, size in before)
    assert len({coach.log, *logs}) == 6
    pupil = make_session("hasty", 1, 8, costs=False).write_log(tmp_path / "alone")
    assert list(pupil.parent.iterdir()) == [pupil]


def test_sensor_errors_are_as_asked(coach: Session) -> None:
    sensors = Sensors(
        rate_hz=50.0, position_rate_hz=10.0, position_sd_m=0.4, delay_s=0.15, pedal_end=0.94,
        yaw_rate_bias=0.02, dropouts=((60.0, 3.0),), without=("gear",), mount_yaw=np.radians(5),
    )  # fmt: skip
    session = measured(coach, sensors)
    truth = session.truth
    t, x = channel(session, "x")
    assert np.diff(t) == pytest.approx(0.1)
    gone = np.isnan(x)
    assert t[gone][[0, -1]] == pytest.approx([60.0, 62.9])
    late = (x - np.interp(t - 0.15, truth.t, truth.x))[~gone]
    assert late.std() == pytest.approx(0.4, rel=0.15)
    now = (x - np.interp(t, truth.t, truth.x))[~gone]
    assert now.std() > 3.0
    assert channel(session, "throttle")[1].max() == pytest.approx(0.94, abs=0.001)
    t, yaw = channel(session, "yaw_rate")
    assert np.mean(yaw - np.interp(t, truth.t, truth.yaw_rate)) == pytest.approx(0.02, abs=0.001)
    assert "gear" not in session.log.channels
    with pytest.raises(ValueError, match="rate_hz"):
        make_session("coach", 1, 1, sensors=Sensors(rate_hz=5000.0), costs=False)


def test_drift_wanders_slowly(coach: Session) -> None:
    sensors = Sensors(position_sd_m=0.0, drift_m=0.8, drift_time_s=60.0)
    session = measured(coach, sensors)
    t, x = channel(session, "x")
    off = x - np.interp(t, session.truth.t, session.truth.x)
    assert 0.2 < off.std() < 1.8
    assert np.abs(np.diff(off)).max() < 0.01


def test_geodetic_positions_against_pyproj(coach: Session) -> None:
    origin = (12.0, 34.0, 100.0)
    sensors = Sensors(position_sd_m=0.0, height_sd_m=0.0, geodetic=True, origin=origin)
    session = measured(coach, sensors)
    t, lat = channel(session, "latitude")
    lon, alt = channel(session, "longitude")[1], channel(session, "altitude")[1]
    local = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        "+step +proj=cart +ellps=WGS84 "
        f"+step +proj=topocentric +ellps=WGS84 +lat_0={origin[0]} +lon_0={origin[1]} "
        f"+h_0={origin[2]}"
    )
    x, y, z = local.transform(lon, lat, alt)
    truth = session.truth
    assert np.abs(x - np.interp(t, truth.t, truth.x)).max() < 1e-3
    assert np.abs(y - np.interp(t, truth.t, truth.y)).max() < 1e-3
    assert np.abs(z - np.interp(t, truth.t, truth.z)).max() < 1e-3


def test_written_log_reads_back(session: Session, tmp_path: Path) -> None:
    paths = session.write(tmp_path)
    with paths.log.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    head = rows.index([]) + 1
    assert ["Circuit", "Quillbeck"] in rows[:head]
    names, units, first = rows[head], rows[head + 1], rows[head + 2]
    assert len(names) == len(units) == len(first)
    table = np.array(rows[head + 2 :], dtype=float)
    speed = table[:, names.index("Speed")]
    assert units[names.index("Speed")] == "km/h"
    assert speed / 3.6 == pytest.approx(channel(session, "speed")[1], abs=0.002)
    brake = table[:, names.index("Brake Pressure")]
    assert units[names.index("Brake Pressure")] == "bar"
    assert brake * 1e5 == pytest.approx(channel(session, "brake_pressure")[1], abs=600)
    survey = np.loadtxt(paths.survey, delimiter=",", skiprows=1)
    length = np.hypot(*np.diff(np.vstack([survey, survey[:1]])[:, :2], axis=0).T).sum()
    assert length == pytest.approx(session.circuit.length_m, rel=0.001)
    assert len(paths.landmarks.read_text(encoding="utf-8").splitlines()) >= 21
    comma = session.write(tmp_path / "comma", Style(delimiter=";", decimal_comma=True))
    assert "," in comma.log.read_text(encoding="utf-8").splitlines()[20]


def test_parquet_and_csv_hold_the_same(coach: Session, tmp_path: Path) -> None:
    # a position at a tenth of the rate leaves cells empty, a dropout too; both files must say so
    sensors = Sensors(position_rate_hz=10.0, dropouts=((60.0, 3.0),), geodetic=True)
    session = measured(coach, sensors)
    text = session.write(tmp_path).log
    file = session.write(tmp_path, Style(file="parquet")).log
    with text.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.reader(stream))
    head = rows.index([]) + 1
    frame = pl.read_parquet(file)
    assert frame.columns == [f"{n} [{u}]" for n, u in zip(*rows[head : head + 2], strict=True)]
    assert frame.height == len(rows) - head - 2 == session.log.channels["speed"][1].size
    for k, name in enumerate(frame.columns):
        cells = [float(row[k]) if row[k] else None for row in rows[head + 2 :]]
        assert frame[name].to_list() == cells, name
    latitude = frame["Latitude [deg]"]
    _, stamps, values = session.log.channels["latitude"]
    assert latitude.len() - latitude.null_count() == np.isfinite(values).sum()
    row = int(np.searchsorted(frame["Time [s]"].to_numpy(), stamps[50] - 1e-6))
    assert latitude[row] == pytest.approx(values[50], abs=1e-8)


def test_the_day_is_in_the_laps_and_in_the_truth() -> None:
    plain = replace(DRIVERS["coach"], references=())

    def median(day: Day) -> float:
        return float(np.median(make_session(plain, 1, 4, day=day, costs=False).truth.lap_times))

    usual = median(Day())
    # 1 % of all limits is worth 0.5 % of a lap at most (any road, acceleration limits only)
    slippery = median(Day(grip=0.95))
    assert 0.005 < slippery / usual - 1 < 0.03
    # common practice, no source: 10 kg cost about 0.3 s a lap; a light, strong car: 0.1 to 0.4
    heavy = median(Day(extra_kg=160.0))
    assert 0.1 < (heavy - usual) / 5 < 0.4
    hot = median(Day(temperature_c=40.0))
    assert hot > usual
    session = make_session(plain, 2, 4, day=Day(grip_per_lap=-0.01, grip_spread=0.002), costs=False)
    grips = [lap.conditions.grip for lap in session.truth.laps]
    assert np.polyfit(range(4), grips, 1)[0] == pytest.approx(-0.01, abs=0.004)
    assert session.truth.laps[2].conditions.extra_kg < session.truth.laps[1].conditions.extra_kg


def test_unknown_driver_is_named() -> None:
    with pytest.raises(ValueError, match="coach"):
        make_session("nobody", 1, 1)
