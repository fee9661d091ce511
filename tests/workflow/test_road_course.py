"""The whole way from a real, dirty log to a guide.

The log and both edges of the road are real open data (GPL-3.0, kept outside the
repository): an open-wheel car at 25 Hz, a start from the pit lane, two laps and a part of
one. What must come out follows from the data's description: lengths driven of 2835 to
2845 m, lap times that depend on where the line is put (154–161 s for the second).
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

Find = Callable[[str], Path]
EDGES = ("roadcourse_inner.csv", "roadcourse_outer.csv")


@pytest.fixture(scope="module", params=["surveyed", "laps only"])
def made(
    request: pytest.FixtureRequest,
    shared_data: Find,
    command: Callable[..., Any],
    tmp_path_factory: pytest.TempPathFactory,
) -> dict[str, Any]:
    folder = shared_data("road_course_log")
    out = tmp_path_factory.mktemp("guide")
    edges = EDGES if request.param == "surveyed" else ()
    options = [part for e in edges for part in ("--circuit", folder / e)]
    ran = command("guide", folder / "run_roadcourse.csv", *options, "--out", out)
    assert ran.code == 0, ran.err
    return {
        "surveyed": bool(edges),
        "guide": json.loads((out / "guide.json").read_text("utf-8")),
        "circuit": json.loads((out / "circuit.json").read_text("utf-8")),
        "raw": np.loadtxt(folder / "run_roadcourse.csv", delimiter=","),
        "err": ran.err,
        "out": ran.out,
    }


def times_at_line(made: dict[str, Any]) -> NDArray[np.float64]:
    """Find when the raw positions pass the guide's start line, without the program's own steps."""
    arrays = made["circuit"]["arrays"]
    heading = arrays["heading"][0]
    time, x, y = made["raw"][:, :3].T
    dx, dy = x - arrays["x"][0], y - arrays["y"][0]
    along = dx * np.cos(heading) + dy * np.sin(heading)
    passed = (along[:-1] < 0) & (along[1:] >= 0) & (np.hypot(dx, dy)[1:] < 30)
    i = np.flatnonzero(passed)
    return time[i] + (time[i + 1] - time[i]) * along[i] / (along[i] - along[i + 1])


def timed(made: dict[str, Any]) -> list[dict[str, Any]]:
    return [lap for lap in made["guide"]["laps"] if lap["used"]]


def test_exactly_two_laps_are_timed(made: dict[str, Any]):
    first, second = timed(made)
    assert 176 <= first["time_s"] <= 211
    assert 154 <= second["time_s"] <= 161
    assert made["guide"]["session"]["laps_used"] == 2


def test_pit_stretch_and_last_part_are_no_laps(made: dict[str, Any]):
    laps = made["guide"]["laps"]
    aside = [lap for lap in laps if not lap["used"]]
    assert [lap["number"] for lap in aside] == [laps[0]["number"], laps[-1]["number"]]
    for lap in aside:
        assert lap["time_s"] is None
        assert lap["why_not"]
    assert aside[-1]["kind"] == "in"
    if made["surveyed"]:  # only the edges can tell that the log begins beside the road
        assert aside[0]["kind"] == "pit"
        assert "standing" in aside[0]["why_not"]


def test_lap_times_are_those_of_the_raw_positions(made: dict[str, Any]):
    # time stamps of this log jitter by up to 18 ms: each end may be off by that much
    cuts = times_at_line(made)
    assert cuts.size == 3
    for lap, seconds in zip(timed(made), np.diff(cuts), strict=True):
        assert lap["time_s"] == pytest.approx(seconds, abs=0.04)


def test_each_lap_is_as_long_as_the_road_course(made: dict[str, Any]):
    time, x, y = made["raw"][:, :3].T
    driven = np.append(0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y))))
    lengths = np.diff(np.interp(times_at_line(made), time, driven))
    assert lengths.size == 2
    assert ((lengths > 2835) & (lengths < 2845)).all()
    assert made["guide"]["circuit"]["length_m"] == pytest.approx(2840, rel=0.01)
    assert made["guide"]["circuit"]["turns"] == "clockwise"


def test_edges_are_called_surveyed_only_with_a_survey(made: dict[str, Any]):
    assert made["guide"]["circuit"]["surveyed"] is made["surveyed"]
    assert ("not surveyed" in made["out"]) is not made["surveyed"]


def test_units_are_understood_from_the_header(made: dict[str, Any]):
    channels = {c["name"]: c for c in made["guide"]["recording"]["channels"]}
    wanted = {
        "brake_pressure": ("Pa", "kPa"), "throttle": ("1", "%"),
        "velocity_forward": ("m/s", "m/s"), "wheel_speed_front_left": ("m/s", "kmph"),
    }  # fmt: skip
    for name, (unit, original) in wanted.items():
        assert (channels[name]["unit"], channels[name]["original_unit"]) == (unit, original)
        assert channels[name]["how_known"] == "header"


def test_faulty_channels_are_named_and_sound_ones_are_not(made: dict[str, Any]):
    said = [line for line in made["err"].splitlines() if line.startswith("run_roadcourse.csv")]
    faults = [line for line in said if "channel " in line]
    assert len(faults) == 3
    roll, ax, jitter = (
        next(f for f in faults if f"channel {name}:" in f) for name in ("roll", "ax", "x, y")
    )
    assert "not used" in roll
    assert "inconsistent" in ax
    assert "speed" in ax
    assert "not used" in ax
    assert "jitter" in jitter
    assert all(" lap " in f for f in said if f not in faults)
    repaired = {r["channel"] for r in made["guide"]["recording"]["repairs"]}
    assert repaired == {"x", "y"}


def test_absent_data_is_skipped_here_and_a_failure_on_the_build_machine(root: Path, tmp_path: Path):
    # two folders up from this copy there is no shared data
    tests = tmp_path / "main" / "tests"
    tests.mkdir(parents=True)
    shutil.copy(root / "tests" / "conftest.py", tests / "conftest.py")
    (tests / "test_a.py").write_text("def test_a(shared_data):\n    assert shared_data('road')\n")
    (tests / "pytest.ini").write_text("[pytest]\n")
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", str(tests)]
    for on_ci, code, word in (("false", 0, "1 skipped"), ("true", 1, "1 failed")):
        around = os.environ | {"CI": on_ci, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}
        ran = subprocess.run(command, capture_output=True, text=True, cwd=tests, env=around)
        assert (ran.returncode, word in ran.stdout) == (code, True), ran.stdout
