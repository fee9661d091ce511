"""Corners found on the invented circuit: how many, numbers that stay, mirrored, line moved."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lapwright.demo import Sensors
from lapwright.driving.corners import find_corners
from lapwright.driving.grid import build_grid
from lapwright.model.build_circuit import Edge, build_circuit_from_edges
from lapwright.model.lap import Trace
from lapwright.model.repair import repair_recording
from lapwright.readers.registry import read_log
from lapwright.workflow.session import build_session


def test_every_corner_of_the_circuit_is_found(session: Any, found: Any) -> None:
    bends, corners = session.circuit.bends, found.driven.circuit.corners
    assert [c.id for c in corners] == [str(b.number) for b in bends]
    for bend, corner in zip(bends, corners, strict=True):
        assert corner.direction == ("left" if bend.angle > 0 else "right")
        assert bend.start_m - 30.0 < corner.apex_m < bend.end_m + 30.0


def test_full_throttle_between_corners_parts_them(found: Any) -> None:
    # The circuit's builder calls corners 5 to 8 one group, but this driver is on full throttle
    # for more than a second between any two of them, so that each has its own exit.
    assert [c.complex for c in found.driven.circuit.corners] == [None] * 12


def test_corners_without_full_throttle_between_are_one_complex(found: Any) -> None:
    road = found.driven.circuit
    one, last = road.corners[4], road.corners[7]

    def lifted(lap: Any) -> Any:
        pedal = lap.traces["throttle"]
        place = np.interp(pedal.time, lap.track.time, lap.track.s) % road.length_m
        inside = (place > one.apex_m) & (place < last.apex_m)
        held = Trace(pedal.time, np.where(inside, np.minimum(pedal.values, 0.8), pedal.values))
        return replace(lap, traces={**lap.traces, "throttle": held})

    again = find_corners(road, build_grid(road, [lifted(lap) for lap in found.laps]))
    assert [c.complex for c in again] == [None] * 4 + ["5–8"] * 4 + [None] * 4


def test_where_full_throttle_is_rare_gained_speed_parts_corners(found: Any) -> None:
    road = found.driven.circuit

    def gentle(lap: Any) -> Any:
        pedal = lap.traces["throttle"]
        once = (pedal.time > 0.0) & (
            pedal.time < 3.0
        )  # the pedal's end is seen once, so that its scale is known
        held = Trace(pedal.time, np.where(once, pedal.values, 0.6 * pedal.values))
        return replace(lap, traces={**lap.traces, "throttle": held})

    again = find_corners(road, build_grid(road, [gentle(lap) for lap in found.laps]))
    assert len(again) == 12
    assert sum(c.complex is None for c in again) >= 10


def test_a_gently_driven_real_log_is_not_one_complex(
    shared_data: Callable[[str], Path],
) -> None:
    # real laps, driven far below full throttle: the road course log of the open data
    folder = shared_data("road_course_log")
    edges = [
        Edge(*np.loadtxt(folder / f"roadcourse_{side}.csv", delimiter=",").T)
        for side in ("inner", "outer")
    ]
    recording = repair_recording(read_log(folder / "run_roadcourse.csv"))
    corners = build_session([recording], circuit=build_circuit_from_edges(*edges)).circuit.corners
    assert len(corners) >= 9
    groups = {c.complex for c in corners}
    assert None in groups
    assert max(sum(c.complex == g for c in corners) for g in groups - {None}) <= 4


def test_numbers_stay_when_laps_are_added(simulated: Any, session: Any, found: Any) -> None:
    few = simulated.analyse(simulated.shorten(session, 1), Sensors(rate_hz=25.0))
    more = simulated.analyse(session, Sensors(rate_hz=25.0), circuit=few.driven.circuit, start=None)
    assert more.driven.circuit.corners == few.driven.circuit.corners
    assert len(more.laps) > len(few.laps)
    # nothing is given with the circuit here, and still the numbers are the same
    assert [c.id for c in few.driven.circuit.corners] == [
        c.id for c in found.driven.circuit.corners
    ]


def test_a_mirrored_circuit_has_mirrored_corners(simulated: Any, session: Any, slow: Any) -> None:
    mirror = simulated.analyse(session, Sensors(rate_hz=25.0), mirrored=True)
    pairs = list(zip(slow.driven.circuit.corners, mirror.driven.circuit.corners, strict=True))
    for one, two in pairs:
        assert {one.direction, two.direction} == {"left", "right"}
        assert (two.start_m, two.apex_m, two.end_m) == pytest.approx(
            (one.start_m, one.apex_m, one.end_m), abs=0.01
        )
    for one, two in zip(slow.passes, mirror.passes, strict=True):
        for name, value in one.actions.items():
            assert two.actions[name] == (
                None if value is None else pytest.approx(value, abs=0.02)
            ), name


@pytest.mark.parametrize("corner", [3, 6])
def test_a_start_line_within_a_corner_changes_no_action(
    simulated: Any, session: Any, slow: Any, corner: int
) -> None:
    k = int(np.argmin(np.abs(session.survey.s - session.circuit.bends[corner - 1].apex_m)))
    line = (float(session.survey.x[k]), float(session.survey.y[k]))
    moved = simulated.analyse(session, Sensors(rate_hz=25.0), start=line)
    assert len(moved.driven.circuit.corners) == 12
    for action in ("brake_start_m", "full_throttle_m", "apex_m", "turn_in_m"):
        before, after = _times(simulated, slow, action), _times(simulated, moved, action)
        # laps begin elsewhere: what both hold is from the later first to the earlier last
        low, high = max(before[0], after[0]) - 1.0, min(before[-1], after[-1]) + 1.0
        one = before[(before > low) & (before < high)]
        two = after[(after > low) & (after < high)]
        assert one.size >= 40
        assert two.size == one.size
        assert np.abs(one - two).max() <= 0.02, action


def _times(simulated: Any, found: Any, action: str) -> np.ndarray:
    return np.sort(
        [
            simulated.time_of(found, p, place)
            for p in found.passes
            if (place := p.actions[action]) is not None
        ]
    )
