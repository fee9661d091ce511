"""Laps that do not count are labelled, and cost no other lap: an invented road and cars."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

LAP = 2 * np.pi
#: A lap's ends may be off by this against the truth: 2 cm of noise at 40 m/s, and the filter.
WITHIN_S = 0.005


@dataclass(frozen=True)
class Told:
    """A guide's laps by number, what was said, and the truth."""

    laps: dict[int, dict[str, Any]]
    err: str
    driven: Any

    def check_good(self, *numbers: int) -> None:
        """Check that exactly these laps count, and their times."""
        assert [n for n, lap in self.laps.items() if lap["used"]] == list(numbers)
        for n in numbers:
            truth = self.driven.crossing(n) - self.driven.crossing(n - 1)
            assert self.laps[n]["time_s"] == pytest.approx(truth, abs=WITHIN_S)
            assert self.laps[n]["why_not"] is None

    def message(self, number: int) -> str:
        """Return the one message about a lap."""
        (line,) = (m for m in self.err.splitlines() if f"lap {number}," in m)
        return line


@pytest.fixture(scope="module")
def tell(
    invented: ModuleType, command: Callable[..., Any], tmp_path_factory: pytest.TempPathFactory
) -> Callable[..., Told]:
    folder = tmp_path_factory.mktemp("laps")
    survey = invented.write_survey(folder / "survey.csv")

    def make(driven: Any, keep: Any = None) -> Told:
        log = invented.write_log(folder / "s.csv", driven, keep)
        out = folder / "guide"
        ran = command("guide", log, "--circuit", survey, *invented.start_option(), "--out", out)
        assert ran.code == 0, ran.err
        guide = json.loads((out / "guide.json").read_text("utf-8"))
        return Told({lap["number"]: lap for lap in guide["laps"]}, ran.err, driven)

    return make


def span_of(driven: Any, number: int) -> str:
    """Give a lap's true span as a message writes it."""
    return f"t = {driven.crossing(number - 1):.1f}–{driven.crossing(number):.1f} s"


def test_plain_laps_are_timed_and_their_ends_are_no_laps(
    tell: Callable[..., Told], invented: ModuleType
):
    told = tell(invented.drive(-0.8, 4 * LAP + 1))
    told.check_good(1, 2, 3, 4)
    assert [told.laps[n]["kind"] for n in (0, 5)] == ["out", "in"]
    assert all(told.laps[n]["time_s"] is None for n in (0, 5))
    assert "lap " not in told.err.replace("every lap", "")


def test_pit_visit_is_no_lap_and_the_next_ones_are(tell: Callable[..., Told], invented: ModuleType):
    # FAULTS row L01: standing and slow beside the road
    move = invented.Move(2 * LAP + 2.0, 2 * LAP + 4.2, aside_m=14, slow_mps=15, stand_s=20)
    told = tell(invented.drive(-0.8, 5 * LAP + 1, [move]))
    told.check_good(1, 2, 4, 5)
    lap = told.laps[3]
    assert lap["kind"] == "pit"
    assert "20." in lap["why_not"]
    assert "standing" in lap["why_not"]
    said = told.message(3)
    assert said.startswith("s.csv, lap 3")
    assert span_of(told.driven, 3) in said
    assert "pit" in said


@pytest.mark.parametrize("left_out", [0.4, 0.8])
def test_recording_that_ends_on_the_way_is_not_timed(
    left_out: float, tell: Callable[..., Told], invented: ModuleType
):
    # FAULTS rows L02, L03: the recording ends with the lap half done
    told = tell(invented.drive(-0.8, (4 - left_out) * LAP))
    told.check_good(1, 2, 3)
    lap = told.laps[4]
    assert lap["time_s"] is None
    assert lap["why_not"].startswith("not a whole lap: ")
    driven, length = (float(v) for v in lap["why_not"].split(" m,")[0].split(": ")[1].split(" of "))
    x, y, _ = invented.road_at(np.linspace(0, LAP * (1 - left_out), 2000))
    assert driven == pytest.approx(np.hypot(np.diff(x), np.diff(y)).sum(), abs=8)
    if left_out < 0.75:
        assert "lap 4, t = " in told.message(4)
        assert "Not timed" in told.message(4)
    else:  # switched off soon after the line: nothing to say
        assert "lap 4," not in told.err
    x, y, _ = invented.road_at(np.linspace(0, LAP, 4000))
    assert length == pytest.approx(np.hypot(np.diff(x), np.diff(y)).sum(), abs=1)


def test_recording_that_begins_on_the_way_is_not_timed(
    tell: Callable[..., Told], invented: ModuleType
):
    told = tell(invented.drive(2.5, 3 * LAP + 1))
    assert [n for n, lap in told.laps.items() if lap["used"]] == [1, 2]
    assert told.laps[0]["time_s"] is None


def test_lap_over_the_grass_that_saves_distance_is_not_valid(
    tell: Callable[..., Told], invented: ModuleType
):
    # FAULTS row L04: a chord across the inside of a corner
    told = tell(
        invented.drive(-0.8, 4 * LAP + 1, [invented.Move(2 * LAP + 2.4, 2 * LAP + 3.8, cut=True)])
    )
    told.check_good(1, 2, 4)
    lap = told.laps[3]
    assert lap["kind"] == "cut"
    far, start, end = read_excursion(lap["why_not"])
    away = off_the_middle(told.driven, invented, 2 * LAP + 2.4, 2 * LAP + 3.8)
    assert far == pytest.approx(away.max() - invented.HALF_M, abs=0.5)
    off = np.interp([start, end], told.driven.time, told.driven.angle) - 2 * LAP
    assert 2.3 < off[0] < off[1] < 3.9
    # what was saved: the road's middle abreast of the two ends less the way driven
    inside = (told.driven.angle > off[0] + 2 * LAP) & (told.driven.angle < off[1] + 2 * LAP)
    way = np.hypot(np.diff(told.driven.x[inside]), np.diff(told.driven.y[inside])).sum()
    x, y, _ = invented.road_at(np.linspace(off[0] - 0.5, off[1] + 0.5, 8000))
    ends = [
        int(np.argmin(np.hypot(x - told.driven.x[inside][i], y - told.driven.y[inside][i])))
        for i in (0, -1)
    ]
    road = np.hypot(np.diff(x[slice(*ends)]), np.diff(y[slice(*ends)])).sum()
    saved = float(lap["why_not"].split("saving ")[1].removesuffix(" m"))
    assert saved == pytest.approx(road - way, abs=4)
    said = told.message(3)
    assert span_of(told.driven, 3)[:8] in said
    assert "Left out of statistics" in said


def test_lap_beside_the_road_is_not_valid(tell: Callable[..., Told], invented: ModuleType):
    move = invented.Move(2 * LAP + 2.4, 2 * LAP + 3.6, aside_m=9)
    told = tell(invented.drive(-0.8, 4 * LAP + 1, [move]))
    told.check_good(1, 2, 4)
    assert told.laps[3]["kind"] == "off road"
    far, start, end = read_excursion(told.laps[3]["why_not"])
    away = off_the_middle(told.driven, invented, 2 * LAP + 2.4, 2 * LAP + 3.6)
    assert far == pytest.approx(away.max() - invented.HALF_M, abs=0.3)
    assert told.driven.crossing(2) < start < end < told.driven.crossing(3)
    assert span_of(told.driven, 3) in told.message(3)


def test_lap_on_the_kerb_is_a_good_lap(tell: Callable[..., Told], invented: ModuleType):
    move = invented.Move(2 * LAP + 2.4, 2 * LAP + 3.6, aside_m=5)
    tell(invented.drive(-0.8, 4 * LAP + 1, [move])).check_good(1, 2, 3, 4)


def test_standing_on_the_road_is_set_aside(tell: Callable[..., Told], invented: ModuleType):
    move = invented.Move(2 * LAP + 2.0, 2 * LAP + 3.2, stand_s=8)
    told = tell(invented.drive(-0.8, 4 * LAP + 1, [move]))
    told.check_good(1, 2, 4)
    assert told.laps[3]["kind"] == "slow"
    assert "standing on the road" in told.message(3)


def test_short_gap_is_bridged_and_the_lap_kept(tell: Callable[..., Told], invented: ModuleType):
    driven = invented.drive(-0.8, 4 * LAP + 1)
    keep = (driven.angle < 2 * LAP + 1.0) | (driven.angle > 2 * LAP + 1.1)
    told = tell(driven, keep)
    told.check_good(1, 2, 3, 4)


def test_line_without_a_position_ranks_neither_lap(tell: Callable[..., Told], invented: ModuleType):
    # FAULTS row L07: no row from 0.75 s before to 0.75 s after the line
    driven = invented.drive(-0.8, 4 * LAP + 1)
    line = driven.crossing(2)
    told = tell(driven, np.abs(driven.time - line) > 0.75)
    told.check_good(1, 4)
    for number in (2, 3):
        lap = told.laps[number]
        truth = driven.crossing(number) - driven.crossing(number - 1)
        assert lap["time_s"] == pytest.approx(truth, abs=0.01)
        words = lap["why_not"].split()
        before, after = float(words[3]), float(words[7])
        assert (before, after) == pytest.approx((0.77, 0.77), abs=0.04)
        assert "time ±0.01 s, not ranked" in lap["why_not"]
    (said,) = (line for line in told.err.splitlines() if "after the line" in line)
    span = f"t = {driven.crossing(1):.1f}–{driven.crossing(3):.1f} s"
    assert f"s.csv, laps 2 and 3, {span}: no position from 0.7" in said
    assert "time ±0.01 s, not ranked. Left out of statistics" in said


def test_other_way_round_is_kept_apart(
    invented: ModuleType, command: Callable[..., Any], tmp_path: Path
):
    # FAULTS row L05: a second log, driven clockwise on a circuit that the first drove the other way
    survey = invented.write_survey(tmp_path / "survey.csv")
    driven = invented.drive(-0.8, 3 * LAP + 1)
    back = invented.Driven(
        driven.time, driven.x[::-1], driven.y[::-1], driven.speed[::-1], -driven.yaw_rate[::-1],
        -driven.angle[::-1],
    )  # fmt: skip
    logs = [
        invented.write_log(tmp_path / name, one)
        for name, one in (("a.csv", driven), ("b.csv", back))
    ]
    out = tmp_path / "guide"
    options = ["--circuit", survey, *invented.start_option(), "--out", out]
    ran = command("guide", *logs, *options)
    assert ran.code == 0, ran.err
    laps = json.loads((out / "guide.json").read_text("utf-8"))["laps"]
    assert [lap["number"] for lap in laps if lap["used"]] == [1, 2, 3]
    assert {lap["file"] for lap in laps if lap["used"]} == {"a.csv"}
    (said,) = (m for m in ran.err.splitlines() if m.startswith("b.csv"))
    assert "driven clockwise; the circuit runs anticlockwise" in said
    assert "Not timed" in said


def test_lap_counter_that_counts_elsewhere_and_restarts(
    invented: ModuleType, command: Callable[..., Any], tmp_path: Path
):
    # FAULTS row L06: changes 3.4 s late, falls to 0 in the middle of lap 3
    driven = invented.drive(-0.8, 4 * LAP + 1)
    log = invented.write_log(tmp_path / "s.csv", driven)
    late = np.interp(driven.time - 3.4, driven.time, driven.angle)
    count = np.floor(late / LAP) + 1
    count[driven.angle > 2.5 * LAP] -= 3
    survey = invented.write_survey(tmp_path / "survey.csv")

    def told(counter: Any) -> list[str]:
        head, *rows = log.read_text("utf-8").split("\n")[2:-1]
        lines = [f"{head},lap", *[f"{r},{c:.0f}" for r, c in zip(rows, counter, strict=True)]]
        path = tmp_path / "counted.csv"
        path.write_text("\n".join(lines) + "\n", "utf-8")
        options = ["--circuit", survey, *invented.start_option(), "--out", tmp_path / "guide"]
        ran = command("guide", path, *options)
        assert ran.code == 0, ran.err
        laps = json.loads((tmp_path / "guide/guide.json").read_text("utf-8"))["laps"]
        assert [lap["number"] for lap in laps if lap["used"]] == [1, 2, 3, 4]
        return [m for m in ran.err.splitlines() if "channel lap" in m]

    (said,) = told(count)
    assert said.startswith("counted.csv, channel lap: changes 3.4 s after the start line")
    assert "restarts at 0 in lap 3" in said
    assert "Laps counted from position" in said
    assert told(np.floor(driven.angle / LAP) + 1) == []


def test_spin_is_left_out(invented: ModuleType, tell: Callable[..., Told]):
    # FAULTS row L08: 470 degrees in 3 s, then standing for 8 s, then 110 degrees back
    move = invented.Move(2 * LAP + 2.0, 2 * LAP + 3.2, stand_s=8)
    driven = invented.drive(-0.8, 4 * LAP + 1, [move])
    still = driven.time[driven.speed < 0.5]
    spinning = (driven.time > still[0] - 3.0) & (driven.time <= still[0])
    turning = (driven.time > still[-1] - 2.0) & (driven.time <= still[-1])
    driven.yaw_rate[spinning] += np.radians(470.0) / 3.0
    driven.yaw_rate[turning] -= np.radians(110.0) / 2.0
    told = tell(driven)
    told.check_good(1, 2, 4)
    why = told.laps[3]["why_not"]
    assert "8." in why
    assert "standing on the road" in why
    assert float(why.split("turned ")[1].split(" deg")[0]) == pytest.approx(470.0, abs=15.0)
    assert "Left out of statistics" in told.message(3)


def test_no_complete_lap(invented: ModuleType, command: Callable[..., Any], tmp_path: Path):
    # FAULTS row L09: three quarters of a lap
    driven = invented.drive(0.3, 0.8 * LAP)
    log = invented.write_log(tmp_path / "s.csv", driven)
    survey = invented.write_survey(tmp_path / "survey.csv")
    options = ["--circuit", survey, *invented.start_option(), "--out", tmp_path / "guide"]
    ran = command("guide", log, *options)
    assert ran.code == 3
    assert "s.csv: the start line is crossed 0 times. No complete lap." in ran.err
    assert "record longer" in ran.err
    assert not (tmp_path / "guide").exists()
    inspected = command("inspect", log, "--json")
    document = json.loads(inspected.out)
    assert (inspected.code, document["outcome"]) == (0, "flagged")
    (said,) = (m["text"] for m in document["messages"])
    assert "no place is passed twice" in said
    assert "at least one whole lap" in said


def read_excursion(text: str) -> tuple[float, float, float]:
    """Read how far and from when to when a lap left the road."""
    words = text.replace("up to ", "").split(" m outside the edge between t = ")
    start, end = words[1].split(" s")[0].split(" and ")
    return float(words[0]), float(start), float(end)


def off_the_middle(driven: Any, invented: ModuleType, start: float, end: float) -> Any:
    """Distances of a drive from the road's middle between two angles, from dense points."""
    x, y, _ = invented.road_at(np.linspace(start - 0.5, end + 0.5, 4000))
    inside = (driven.angle > start) & (driven.angle < end)
    gaps = np.hypot(driven.x[inside, None] - x, driven.y[inside, None] - y)
    return gaps.min(axis=1)
