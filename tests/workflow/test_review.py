"""Reviews of simulated pupils, whose habits are known, against a guide.

The truth is planted: the simulator shares no code with the analysis. The guide is the
coach's of the invented scenario, on its survey.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import polars
import pytest

from lapwright.demo import DRIVERS, Day, make_session
from lapwright.demo.scenario import coach_session
from lapwright.demo.sensors import Sensors
from lapwright.workflow.guide_directory import read_guide

Command = Callable[..., Any]
HOSTILE = '<script>alert(1)</script> =1+1 --> "A" \u202eB'


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, command: Command) -> dict[str, Path]:
    """Make a coach's guide, a pupil with habits, and the same pupil who left them off."""
    root = tmp_path_factory.mktemp("review")
    coach = coach_session().write(root / "coach")
    guide = root / "guide"
    ran = command("guide", coach.log, "--circuit", coach.survey, "--start", "0,0", "--out", guide)
    assert ran.code == 0, ran.err
    pupil = DRIVERS["pupil 1"]  # early on the brake in 1, throttle in steps in 11
    day = Day(grip=0.99, grip_spread=0.004, temperature_c=24.0)
    sensors = Sensors(delay_s=0.12, pedal_end=0.97)
    first = make_session(pupil, 6, 101, sensors=sensors, day=day, costs=False)
    told = make_session(
        replace(pupil, habits=()), 6, 301, sensors=sensors, costs=False,
        day=Day(grip=0.975, grip_spread=0.004),
    )  # fmt: skip
    return {
        "root": root, "guide": guide,
        "log": first.write(root / "first").log, "told": told.write(root / "told").log,
    }  # fmt: skip


@pytest.fixture(scope="module")
def reviewed(place: dict[str, Path], command: Command) -> dict[str, Any]:
    """Review the pupil twice: with his habits, then after he did what he was told."""
    first, second = place["root"] / "one", place["root"] / "two"
    ran = command("review", place["log"], "--guide", place["guide"], "--out", first)
    assert ran.code == 0, ran.err
    ran = command(
        "review", place["told"], "--guide", place["guide"], "--since", first, "--out", second
    )
    assert ran.code == 0, ran.err
    read = {p.name: json.loads((p / "review.json").read_text("utf-8")) for p in (first, second)}
    return {**read, "page": (second / "review.html").read_text("utf-8")}


def test_planted_habits_are_found_against_the_guides_lap(reviewed: dict[str, Any]):
    (pupil,) = reviewed["one"]["drivers"]
    habits = {
        (h["corner"], h["cause"]): h["share_of_laps"]
        for h in pupil["habits"]
        if h["against"] == "guide_lap"
    }
    assert habits[("1", "early_braking")] > 0.8
    assert habits[("11", "stepped_throttle")] > 0.8
    work = {(i["corner"], i["cause"]) for i in pupil["order_of_work"]}
    assert {("1", "early_braking"), ("11", "stepped_throttle")} <= work


def test_rows_and_straights_add_up_to_the_difference(reviewed: dict[str, Any]):
    accounts = [a for d in reviewed["one"]["drivers"] for a in d["ledger"]]
    assert {a["against"] for a in accounts} == {"own_best", "guide_lap", "possible_on_line"}
    for account in accounts:
        total = sum(r["cost_s"] for r in account["rows"]) + account["straight_s"]
        assert abs(total - account["difference_s"]) < 0.001
    for row in reviewed["one"]["sheet"]["rows"]:
        total = sum(c["cost_s"] for c in row["cells"]) + row["straight_s"]
        assert abs(total - row["difference_s"]) < 0.001


def test_the_difference_is_that_of_the_lap_times(reviewed: dict[str, Any]):
    (pupil,) = reviewed["one"]["drivers"]
    times = {x["id"]: x["time_s"] for x in pupil["laps"]}
    for account in pupil["ledger"]:
        if account["against"] == "guide_lap":
            apart = times[account["lap"]] - reviewed["one"]["guide"]["time_s"]
            assert abs(account["difference_s"] - apart) < 0.002


def test_goals_of_habits_left_off_are_called_met(reviewed: dict[str, Any]):
    (since,) = reviewed["two"]["since"]
    goals = {(g["corner"], g["cause"]): g for g in since["goals"]}
    for key in (("1", "early_braking"), ("11", "stepped_throttle")):
        assert goals[key]["met"] is True, goals[key]
        assert goals[key]["realised_s"] > 0.05
    others = [g for k, g in goals.items() if k[0] not in ("1", "11")]
    assert sum(g["met"] is True for g in others) <= len(others) / 2, others


def test_cautions_stand_in_both_outputs(reviewed: dict[str, Any], place: dict[str, Path]):
    guide = json.loads((place["guide"] / "guide.json").read_text("utf-8"))
    assert reviewed["two"]["cautions"] == guide["cautions"] != []
    assert "For closed circuits only." in reviewed["page"]
    assert "http" not in reviewed["page"].replace("http-equiv", "")


def test_a_log_of_another_circuit_is_refused(
    place: dict[str, Path], command: Command, invented: ModuleType, tmp_path: Path
):
    log = invented.write_log(tmp_path / "other.csv", invented.drive(0.0, 15.0))
    out = tmp_path / "out"
    ran = command("review", log, "--guide", place["guide"], "--out", out)
    assert ran.code == 3, ran.err
    assert "other.csv" in ran.err
    assert "circuit" in ran.err
    assert "Traceback" not in ran.err
    assert not out.exists()


@pytest.mark.parametrize("name", ["guide.json", "circuit.json", "laps.parquet"])
def test_a_garbled_guide_is_refused_by_the_files_name(
    place: dict[str, Path], command: Command, tmp_path: Path, name: str
):
    for file in place["guide"].iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / name).write_bytes(b"[" * 50 + b"\x00\xff")
    ran = command("review", place["log"], "--guide", tmp_path, "--out", tmp_path / "out")
    assert ran.code == 3, ran.err
    assert name in ran.err
    assert not (tmp_path / "out").exists()


def test_laps_of_a_guide_are_never_unpacked_in_this_process(
    place: dict[str, Path], monkeypatch: pytest.MonkeyPatch
):
    def refuse(*_: Any, **__: Any) -> None:
        raise AssertionError("a damaged file would end this process")

    monkeypatch.setattr(polars, "read_parquet", refuse)
    assert read_guide(place["guide"]).laps


def test_damaged_laps_of_a_guide_are_refused_or_read(
    place: dict[str, Path], command: Command, tmp_path: Path
):
    for file in place["guide"].iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    data = (place["guide"] / "laps.parquet").read_bytes()
    (tmp_path / "laps.parquet").write_bytes(data[: len(data) // 2] + data[-2000:])
    ran = command("review", place["log"], "--guide", tmp_path, "--out", tmp_path / "out")
    assert ran.code == 3, ran.err
    assert "laps.parquet" in ran.err
    assert "Traceback" not in ran.err


def test_hostile_names_are_text(place: dict[str, Path], command: Command, tmp_path: Path):
    text = place["log"].read_text("utf-8")
    assert "Anselm Roe" in text
    log = tmp_path / "hostile.csv"
    quoted = HOSTILE.replace('"', '""')
    log.write_text(text.replace("Anselm Roe", f'"{quoted}"'), encoding="utf-8")
    ran = command("review", log, "--guide", place["guide"], "--out", tmp_path / "out")
    assert ran.code == 0, ran.err
    page = (tmp_path / "out" / "review.html").read_text("utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


@pytest.mark.parametrize("costs", [[{"corner": "1"}], [{"corner": "1", "cost_s": "much"}], 7])
def test_a_garbled_earlier_review_is_refused(
    place: dict[str, Path], reviewed: dict[str, Any], command: Command, tmp_path: Path, costs: Any
):
    earlier = json.loads(json.dumps(reviewed["one"]))
    earlier["drivers"][0]["mean_costs"] = costs
    (tmp_path / "review.json").write_text(json.dumps(earlier), "utf-8")
    ran = command(
        "review", place["told"], "--guide", place["guide"], "--since", tmp_path,
        "--out", tmp_path / "out",
    )  # fmt: skip
    assert ran.code == 3, ran.err
    assert "review.json" in ran.err
    assert "Traceback" not in ran.err
