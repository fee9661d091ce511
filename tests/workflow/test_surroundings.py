"""Sight, track limits, kerbs and room in whole guides. Invented data."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from copy import deepcopy
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))

import room_advice

from lapwright.demo import Fault, coach_session, make_session
from lapwright.guide.compose import compose_view
from lapwright.guide.unit_system import choose_unit_system
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap
from lapwright.model.recording import Channel, Recording
from lapwright.readers.circuit_files import read_circuit
from lapwright.workflow import guide as workflow_guide
from lapwright.workflow.demo import furnish
from lapwright.workflow.guide import GuideOptions, make_guide
from lapwright.workflow.surroundings import take_shakes

CAR = """
mass_kg = 1203
power_w = 250e3
drag_area_m2 = 0.92
downforce_area_m2 = 1.75
grip_forward = 1.30
grip_lateral = 1.36
"""
MEASURES = "width_m = 1.64\nwheelbase_m = 2.58\ntrack_m = 1.39\neye_position_m = [0.1, 0.3, 1.0]\n"


def make_view(logs: Sequence[Path], options: GuideOptions, circuit: Circuit) -> dict[str, Any]:
    """Make a guide, and keep all that its page says."""
    made: list[dict[str, Any]] = []

    def keep(*args: Any) -> dict[str, Any]:
        made.append(compose_view(*args))
        return made[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workflow_guide, "compose_view", keep)
        make_guide(logs, choose_unit_system("metric"), options, circuit=circuit)
    return made[-1]


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The guide of six invented laps with a car that is given, measures and all."""
    folder = tmp_path_factory.mktemp("demo")
    written = coach_session(6).write(folder)
    circuit = furnish(read_circuit([written.survey]), written.landmarks, written.spans)
    car = folder / "car.toml"
    car.write_text(CAR + MEASURES, encoding="utf-8")
    options = GuideOptions(start=(0.0, 0.0), car=car, track_limits="any-contact")
    return make_view([written.log], options, circuit)


@pytest.fixture(scope="module")
def demo(shown: dict[str, Any]) -> dict[str, Any]:
    document: dict[str, Any] = shown["guide"]
    return document


def test_every_corner_of_a_road_with_heights_says_what_is_seen(demo: dict[str, Any]):
    assert all(corner["sight"]["blind"] is not None for corner in demo["corners"])
    over = [corner["sight"]["apex_seen_over_m"] for corner in demo["corners"]]
    assert all(60.0 <= v <= 600.0 for v in over)


def test_computed_changes_are_told_from_shown_ones(demo: dict[str, Any]):
    rows = [row for corner in demo["corners"] for row in corner["room"]]
    assert rows
    for row in rows:
        assert row["computed"] is (row["shown_by"] is None)
        assert row["missed_by_m"] in (5.0, 10.0)
        reached = row["speed_at_edge_mps"] is not None
        assert reached is (row["road_left_m"] is None)
        assert not reached or row["runoff_m"] is not None  # the demo's run-off is known
    assert any(row["shown_by"] for row in rows)
    assert any(row["computed"] for row in rows)


@pytest.fixture(scope="module")
def careful(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Eight laps, five of them with habits that ask for later, faster and flat."""
    kinds: list[tuple[Any, int, float]] = [
        ("early_braking", 3, 16.0), ("early_braking", 10, 16.0), ("slow_minimum", 7, 3.0),
        ("slow_minimum", 9, 3.0), ("lift", 12, 1.0), ("lift", 4, 1.0),
    ]  # fmt: skip
    faults = [Fault(cause, corner, lap, size) for cause, corner, size in kinds
              for lap in range(1, 6)]  # fmt: skip
    folder = tmp_path_factory.mktemp("careful")
    written = make_session("coach", 8, 3, faults=faults, costs=False).write(folder)
    circuit = furnish(read_circuit([written.survey]), written.landmarks, written.spans)
    return make_view([written.log], GuideOptions(start=(0.0, 0.0)), circuit)


def test_all_that_is_later_faster_or_flat_has_its_room_and_says_who_showed_it(
    careful: dict[str, Any], shown: dict[str, Any]
):
    assert room_advice.find_faults(careful) == []
    assert room_advice.find_faults(shown) == []
    assert room_advice.find_asked(careful)
    rows = [r for view in (careful, shown) for c in view["guide"]["corners"] for r in c["room"]]
    assert {row["change"] for row in rows if row["shown_by"]} == {"later", "faster", "flat"}
    assert {row["change"] for row in rows if row["computed"]} >= {"later", "flat"}


def test_a_guide_that_owes_room_or_words_is_found_out(careful: dict[str, Any]):
    """The walk itself: each spoilt guide has a fault, and in the corner that was spoilt."""
    asking = deepcopy(careful)
    corner, row = next(
        (c["id"], r) for c in careful["guide"]["corners"] for r in c["room"]
        if r["change"] == "later" and r["shown_by"]
    )  # fmt: skip
    item = {"corner": corner, "cause": "early_braking", "action": row["action"]}
    asking["guide"]["order_of_work"].append(item | {"goal": row["goal"]})
    assert room_advice.find_faults(asking) == []
    for kind, spoil in SPOIL.items():
        view = deepcopy(asking)
        own = next(c for c in view["guide"]["corners"] if c["id"] == corner)
        spoil(own, view["words"]["corners"][corner]["room"])
        faults = room_advice.find_faults(view)
        assert faults, kind
        assert all(fault.startswith(f"corner {corner}: ") for fault in faults), kind


def lose_rooms(corner: dict[str, Any], words: list[dict[str, Any]]) -> None:
    corner["room"] = []
    words.clear()


def lose_one_miss(corner: dict[str, Any], _: list[dict[str, Any]]) -> None:
    for row in corner["room"]:
        row["missed_by_m"] = 5.0


def come_short(corner: dict[str, Any], _: list[dict[str, Any]]) -> None:
    for row in corner["room"]:
        if row["change"] == "later":
            row["goal"] -= 30.0


def claim_more(corner: dict[str, Any], _: list[dict[str, Any]]) -> None:
    for row in corner["room"]:
        if row["change"] == "later":
            row["goal"] += 30.0


def forget_who(corner: dict[str, Any], _: list[dict[str, Any]]) -> None:
    for row in corner["room"]:
        row["shown_by"], row["computed"] = None, True


def order(corner: dict[str, Any], words: list[dict[str, Any]]) -> None:
    forget_who(corner, words)
    for text in words:
        text["t"] = f"Brake later ({room_advice.COMPUTED}): you must."


SPOIL = {
    f.__name__: f for f in (lose_rooms, lose_one_miss, come_short, claim_more, forget_who, order)
}


def test_laps_are_held_against_the_rule_asked_for(demo: dict[str, Any]):
    used = [lap for lap in demo["laps"] if lap["used"]]
    assert all(lap["track_limits"]["rule"] == "any-contact" for lap in used)


def test_kerbs_are_looked_at_on_every_lap(demo: dict[str, Any]):
    used = {lap["id"] for lap in demo["laps"] if lap["used"]}
    kerbs = [kerb for corner in demo["corners"] for kerb in corner["kerbs"]]
    assert len(kerbs) >= 24
    assert all({use["lap"] for use in kerb["uses"]} == used for kerb in kerbs)
    verdicts = {e["verdict"] for kerb in kerbs for e in kerb["effects"]}
    assert verdicts == {"not enough laps"}  # six are too few


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory, invented: ModuleType) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("limits")
    (folder / "bare.toml").write_text(CAR, encoding="utf-8")
    return {
        "log": invented.write_log(folder / "s.csv", invented.drive(-0.8, 2 * 2 * np.pi + 1)),
        "survey": invented.write_survey(folder / "survey.csv"),
        "bare": folder / "bare.toml",
    }


def test_without_the_cars_measures_nothing_is_said_of_limits(
    files: dict[str, Path], command: Callable[..., Any], invented: ModuleType, tmp_path: Path
):
    ran = command(
        "guide", files["log"], "--circuit", files["survey"], *invented.start_option(),
        "--track-limits", "whole-wheel", "--out", tmp_path,
    )  # fmt: skip
    assert ran.code == 0, ran.err
    guide = json.loads((tmp_path / "guide.json").read_text("utf-8"))
    assert all(lap["track_limits"] is None for lap in guide["laps"])
    assert all("width" in lap["track_limits_why_null"] for lap in guide["laps"])
    assert all(corner["sight"]["why_null"] for corner in guide["corners"])  # no heights


def test_a_rule_that_does_not_exist_is_wrong_use(
    files: dict[str, Path], command: Callable[..., Any], tmp_path: Path
):
    ran = command("guide", files["log"], "--track-limits", "wide", "--out", tmp_path / "x")
    assert ran.code == 2
    assert "--track-limits" in ran.err
    assert "whole-wheel" in ran.err
    assert not (tmp_path / "x").exists()


def test_shaking_is_taken_on_the_laps_own_clock():
    time = np.arange(0.0, 200.0, 0.01)
    up = Channel("acceleration_up", "m/s²", time, time, "az", "m/s²", "header")
    recording = Recording("r.csv", "", {"acceleration_up": up})
    lap = Lap("3", "r.csv", "", 3, "timed", 50.0, 140.0, 90.0, 0.01, True)
    other = Lap("4", "other.csv", "", 4, "timed", 50.0, 140.0, 90.0, 0.01, True)
    found = take_shakes([recording], [lap, other])
    assert set(found) == {"3"}
    assert found["3"].time[0] == pytest.approx(0.0, abs=0.01)
    assert found["3"].values[0] == pytest.approx(50.0, abs=0.01)
    assert found["3"].time[-1] == pytest.approx(90.0, abs=0.01)
