"""Invented findings: a round course nobody has built, laps nobody has driven.

The road is a circle driven anticlockwise, so that lengths and places are plain arithmetic.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from lapwright.driving.action_names import ACTIONS
from lapwright.driving.passes import ActionSummary, CornerPass, CornerSummary
from lapwright.guide.document import Findings, Session, Text
from lapwright.model.circuit import Circuit, Corner, Landmark, RoadSpan
from lapwright.model.lap import Lap, LapKind, Trace, Track
from lapwright.model.recording import Channel, Recording, Span

LENGTH = 2000.0
SPEED = 40.0
RATE = 50.0
PLACES = {
    "off_throttle_m": -75.0, "brake_start_m": -62.0, "brake_end_m": -8.0, "turn_in_m": -30.0,
    "minimum_speed_m": -3.0, "apex_m": 2.0, "throttle_first_m": 6.0, "full_throttle_m": 31.0,
}  # fmt: skip
VALUES = {
    "coasting_s": 0.12, "brake_rise_s": 0.15, "peak_deceleration_mps2": 9.4,
    "mean_deceleration_mps2": 7.1, "brake_release_s": 0.62, "brake_steering_overlap_s": 0.4,
    "brake_throttle_overlap_s": 0.0, "minimum_speed_mps": 24.3, "apex_inside_m": 0.8,
    "time_to_full_throttle_s": 0.9, "off_full_throttle_s": 3.21, "exit_speed_mps": 33.0,
    "gear": 3.0, "entry_edge_m": 1.2, "exit_edge_m": 0.9, "distance_driven_m": 140.0,
    "corner_time_s": 4.56,
}  # fmt: skip
SPREADS = {"distance": 4.8, "offset": 0.25, "speed": 0.4, "acceleration": 0.3, "time": 0.07}
FLOORS = {"distance": 0.4, "offset": 0.05, "speed": 0.06, "acceleration": 0.2, "time": 0.02}


def make_circuit(hostile: str = "", surveyed: bool = True, heights: bool = True) -> Circuit:
    count = 1000
    s = np.arange(count) * LENGTH / count
    radius = LENGTH / (2 * math.pi)
    angle = s / radius
    flat = np.zeros(count)
    corner = (
        Corner("1", f"Gate{hostile}", "left", 1950.0, 10.0, 60.0, "A"),  # over the start line
        Corner("2", "", "left", 500.0, 560.0, 640.0),
        Corner("3", "", "right", 1000.0, 1050.0, 1100.0),
        Corner("4", f"Fold{hostile}", "left", 1800.0, 1850.0, 1900.0, "A"),
    )
    return Circuit(
        name=f"Round Mere{hostile}", length_m=LENGTH, s=s,
        x=radius * np.sin(angle), y=radius * (1 - np.cos(angle)), z=flat + 3.0,
        heading=angle, curvature=flat + 1 / radius, slope=flat, banking=flat,
        vertical_curvature=flat, left=flat + 5.0, right=flat + 6.0, turns="anticlockwise",
        surveyed=surveyed, has_heights=heights, corners=corner,
        landmarks=(Landmark(f"hut{hostile}", 20.0, 9.0, 3.0),),
        spans=(RoadSpan("kerb", f"kerb{hostile}", 1995.0, 25.0, 6.0, 5.0),),
    )  # fmt: skip


def make_lap(
    number: int, speed: float, kind: LapKind = "timed", hostile: str = "",
    traces: tuple[str, ...] = ("throttle", "brake", "steering", "gear"),
) -> Lap:  # fmt: skip
    whole = LENGTH / speed
    time = np.arange(-0.1, whole + 0.1, 1 / RATE)
    flat = np.zeros(time.size)
    track = Track(
        time=time, s=time * speed, n=flat + 1.5, heading_error=flat, speed=flat + speed,
        acceleration_forward=flat, acceleration_left=flat + 2.0, curvature=flat, n_sd=flat,
        speed_sd=flat, acceleration_forward_sd=flat, acceleration_left_sd=flat,
    )  # fmt: skip
    logged = {
        "throttle": Trace(time, np.clip(time / whole, 0.0, 1.0)),
        "brake": Trace(time, flat), "steering": Trace(time, flat + 0.1),
        "gear": Trace(time, np.where(time < whole / 2, 3.0, 4.0)),
    }  # fmt: skip
    timed = kind == "timed"
    return Lap(
        id=str(number), file=f"run{hostile}.csv", driver=f"Driver A{hostile}", number=number,
        kind=kind, start_s=100.0 * number, end_s=100.0 * number + whole,
        time_s=whole if timed else None, time_sd_s=0.002 if timed else None, used=timed,
        why_not="" if timed else f"{kind} lap{hostile}", track=track,
        traces={name: logged[name] for name in traces},
    )  # fmt: skip


def make_action(name: str, corner: Corner, laps: int, traces: tuple[str, ...]) -> ActionSummary:
    row = ACTIONS[name]
    lacking = [trace for trace in row.needs if trace not in traces]
    if lacking:
        return ActionSummary(None, None, 0, None, None, f"no {' and no '.join(lacking)} in the log")
    median = (corner.apex_m + PLACES[name]) % LENGTH if row.is_place else VALUES[name]
    return ActionSummary(
        median=median,
        spread=SPREADS.get(row.quantity, 0.0) if laps >= 3 else None,
        n=laps,
        floor=FLOORS.get(row.quantity),
        human_floor=0.01 * SPEED if row.is_place else None,
    )


def make_findings(
    laps: int = 11,
    hostile: str = "",
    traces: tuple[str, ...] = ("throttle", "brake", "steering", "gear"),
    surveyed: bool = True,
    heights: bool = True,
    **changes: Any,
) -> Findings:
    circuit = make_circuit(hostile, surveyed, heights)
    driven = tuple(make_lap(i + 1, SPEED - 0.3 * i, "timed", hostile, traces) for i in range(laps))
    out = make_lap(0, 20.0, "out", hostile, traces)
    summaries = {
        corner.id: CornerSummary(
            corner.id, "braked",
            {name: make_action(name, corner, laps, traces) for name in ACTIONS}, 310.0,
        )
        for corner in circuit.corners
    }  # fmt: skip
    passes = tuple(
        CornerPass(corner.id, lap.id, 4.5 + 0.01 * lap.number,
                   {name: a.median for name, a in summaries[corner.id].actions.items()})
        for corner in circuit.corners for lap in driven
    )  # fmt: skip
    clock = np.arange(0.0, 100.0, 1 / RATE)
    speed = Channel("speed", "m/s", clock, clock, f"GS [km/h]{hostile}", "km/h", "header")
    recording = Recording(
        f"run{hostile}.csv", "0" * 64, {"speed": speed},
        repairs=(Span("speed", 3.0, 3.5, f"jitter{hostile}"),),
    )  # fmt: skip
    findings = Findings(
        version="0.1.0", inputs=((f"run{hostile}.csv", "0" * 64),), recordings=(recording,),
        circuit=circuit, laps=(out, *driven), passes=passes, summaries=summaries,
        chosen_lap=driven[0].id, compare_lap=driven[1].id if laps > 1 else None, rate_hz=RATE,
        delays={"speed": 0.15},
        session=Session((f"Driver A{hostile}",), f"club saloon{hostile}", "2031-05-04", "dry"),
        start_note=Text("given on the command line"), own_best_corners_s=49.3,
    )  # fmt: skip
    return replace(findings, **changes)
