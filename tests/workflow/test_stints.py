"""A guide of two drivers and of two sessions on its way through the command line. Invented."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

LAP = 2 * np.pi
ANN, BEN = "A. Invented", "B. Made-up"


@pytest.fixture(scope="module")
def made(
    tmp_path_factory: pytest.TempPathFactory, invented: ModuleType, command: Callable[..., Any]
) -> dict[str, Any]:
    """One driver in two sessions, another in one with a slow place on every lap."""
    folder = tmp_path_factory.mktemp("stints")
    slow = [invented.Move(k * LAP + 1.2, k * LAP + 1.6, slow_mps=9.0) for k in range(5)]
    driven = {
        "first.csv": (invented.drive(-0.8, 3 * LAP + 1), ANN),
        "again.csv": (invented.drive(-0.7, 3 * LAP + 1, seed=5), ANN),
        "other.csv": (invented.drive(-0.6, 3 * LAP + 1, slow, seed=9), BEN),
    }
    logs = []
    for name, (drive, driver) in driven.items():
        path = invented.write_log(folder / name, drive)
        path.write_text(path.read_text("utf-8").replace(ANN, driver), "utf-8")
        logs.append(path)
    survey = invented.write_survey(folder / "survey.csv")
    common = ("--circuit", survey, *invented.start_option())
    return {
        "folder": folder,
        "all": command("guide", *logs, *common, "--out", folder / "all"),
        "one": command("guide", *logs[:2], *common, "--out", folder / "one"),
    }


def guide_of(made: dict[str, Any], name: str) -> dict[str, Any]:
    assert made[name].code == 0, made[name].err
    read: dict[str, Any] = json.loads((made["folder"] / name / "guide.json").read_text("utf-8"))
    return read


def test_a_guide_of_two_drivers_follows_one_and_tells_of_both(made: dict[str, Any]) -> None:
    guide = guide_of(made, "all")
    assert guide["session"]["drivers"] == [ANN, BEN]
    assert {s["driver"]: len(s["laps"]) for s in guide["stints"]} == {ANN: 3, BEN: 3}
    aside = [lap for lap in guide["laps"] if lap["driver"] == BEN and lap["time_s"]]
    assert aside
    assert {lap["why_not"] for lap in aside} == {f"driven by {BEN}; the guide follows {ANN}"}
    by_lap = {lap["id"]: lap["driver"] for lap in guide["laps"]}
    assert {by_lap[row["lap"]] for row in guide["ledger"]} <= {ANN}
    seen = {(row["corner"], row["driver"]) for row in guide["corner_drivers"]}
    assert {driver for _, driver in seen} == {ANN, BEN}
    page = (made["folder"] / "all" / "guide.html").read_text("utf-8")
    assert "Who drove" in page
    assert f"This guide follows {ANN}" in page


def test_a_guide_of_two_sessions_takes_all_laps_and_tells_what_changed(
    made: dict[str, Any],
) -> None:
    guide = guide_of(made, "one")
    assert [s["file"] for s in guide["stints"]] == ["first.csv", "again.csv"]
    assert guide["session"]["laps_used"] == sum(len(s["laps"]) for s in guide["stints"])
    lap = next(c for c in guide["changes"] if c["corner"] is None)
    assert (lap["from_file"], lap["to_file"]) == ("first.csv", "again.csv")
    assert lap["low_s"] < lap["change_s"] < lap["high_s"]
    assert "From session to session" in (made["folder"] / "one" / "guide.html").read_text("utf-8")


def test_a_guide_of_one_log_says_nothing_of_sessions(
    made: dict[str, Any], invented: ModuleType, command: Callable[..., Any], tmp_path: Path
) -> None:
    ran = command("guide", made["folder"] / "first.csv", "--circuit", made["folder"] / "survey.csv",
                  *invented.start_option(), "--out", tmp_path)  # fmt: skip
    assert ran.code == 0
    page = (tmp_path / "guide.html").read_text("utf-8")
    assert "Who drove" not in page
    assert "From session to session" not in page
