"""Simulated laps measured anew with any sensors and taken through the whole pipeline.

Circuit, car, drivers and sensors are the demo's, all invented; the truth is what the
simulator drove. One drive is measured many times: its motion is costly, its log is not.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import CornerTruth, Sensors, Session, make_session
from lapwright.demo import layout as ly
from lapwright.demo.sensors import measure
from lapwright.driving.actions import find_passes
from lapwright.driving.consistency import summarise_corners
from lapwright.driving.passes import CornerPass, CornerSummary
from lapwright.model.build_circuit import build_circuit_from_centre
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap
from lapwright.model.recording import Channel, Recording
from lapwright.model.repair import repair_recording
from lapwright.workflow.session import DrivenSession, build_session

Array = NDArray[np.float64]

#: The simulator's corners are placed by the centre of gravity, which lies this far ahead of
#: the middle of the wheelbase that is logged, m.
AHEAD_M = 0.13
#: The start line of the demo circuit.
LINE = (0.0, 0.0)


@dataclass(frozen=True)
class Found:
    """What the pipeline made of one measurement of a session."""

    driven: DrivenSession
    passes: tuple[CornerPass, ...]
    summaries: dict[str, CornerSummary]

    @property
    def laps(self) -> list[Lap]:
        return [lap for lap in self.driven.laps if lap.used]


@lru_cache(maxsize=4)
def drive(driver: str = "coach", laps: int = 5, seed: int = 3) -> Session:
    return make_session(driver, laps, seed, costs=False)


def shorten(session: Session, laps: int) -> Session:
    """Keep the out lap, some timed laps and the twelve seconds behind them."""
    end = session.truth.crossings_s[laps] + 12.0
    return replace(session, rows=session.rows[: round(1000 * end)])


def survey(session: Session, mirrored: bool = False) -> Circuit:
    """Take the centre line and the widths as the demo's survey gives them."""
    s = session.survey
    y, right, left = s.y, s.width_right, s.width_left
    if mirrored:
        y, right, left = -y, left, right
    return build_circuit_from_centre(s.x, y, right, left, s.z, name=session.circuit.name)


def survey_banked(session: Session) -> Circuit:
    """Take the survey with the banking, which the demo's leaves out."""
    road, circuit = survey(session), session.circuit
    return replace(road, banking=np.interp(road.s, circuit.s[:-1], circuit.grid[:-1, ly.GBANK]))


def record(session: Session, sensors: Sensors, seed: int = 1, mirrored: bool = False) -> Recording:
    """Measure a drive; mirrored is what the same drive had been with left and right swapped."""
    channels = measure(session.rows, session.car, sensors, seed)
    swapped = ("y", "yaw_rate", "acceleration_left", "steering") if mirrored else ()
    made = {
        name: Channel(name, unit, t, -v if name in swapped else v, name)
        for name, (unit, t, v) in channels.items()
    }
    return Recording("simulated.csv", "", made)


def analyse(
    session: Session,
    sensors: Sensors | None = None,
    *,
    seed: int = 1,
    circuit: Circuit | None = None,
    start: tuple[float, float] | None = LINE,
    mirrored: bool = False,
) -> Found:
    """Take one measurement of a drive through the pipeline."""
    recording = repair_recording(record(session, sensors or Sensors(), seed, mirrored))
    driven = build_session([recording], circuit=circuit or survey(session, mirrored), start=start)
    passes = find_passes(driven.circuit, driven.laps)
    return Found(driven, passes, summarise_corners(driven.circuit, driven.laps, passes))


def true_passes(session: Session, found: Found) -> list[tuple[CornerTruth, CornerPass]]:
    """Pair true and found passes: laps by their number, corners by the nearest apex."""
    road = found.driven.circuit
    number = {
        c.id: min(
            session.circuit.bends,
            key=lambda b: abs(
                (c.apex_m - b.apex_m + road.length_m / 2) % road.length_m - road.length_m / 2
            ),
        ).number
        for c in road.corners
    }
    by_id = {lap.id: lap.number for lap in found.driven.laps}
    truth = _one_each(session)
    pairs = ((truth.get((by_id[p.lap], number[p.corner])), p) for p in found.passes)
    return [(t, p) for t, p in pairs if t is not None]


def _one_each(session: Session) -> dict[tuple[int, int], CornerTruth]:
    """One truth for each lap and corner: a second lift in a corner belongs to the first."""
    out: dict[tuple[int, int], CornerTruth] = {}
    for t in session.truth.corners:
        one = out.get((t.lap, t.corner))
        out[(t.lap, t.corner)] = (
            t
            if one is None
            else replace(
                one,
                full_s=t.full_s,
                full_m=t.full_m,
                throttle_s=t.throttle_s,
                minimum_speed=min(t.minimum_speed, one.minimum_speed),
            )
        )
    return out


def time_of(found: Found, own: CornerPass, place_m: float) -> float:
    """Time on the recording's clock at which a pass's place near its corner is driven over."""
    road = found.driven.circuit
    lap = next(lap for lap in found.driven.laps if lap.id == own.lap)
    corner = next(c for c in road.corners if c.id == own.corner)
    assert lap.track is not None
    half = road.length_m / 2
    place = corner.apex_m + (place_m - corner.apex_m + half) % road.length_m - half
    s, at = np.unique(lap.track.s, return_index=True)
    return lap.start_s + float(np.interp(place, s, lap.track.time[at]))


def true_n(session: Session, lap: Lap) -> tuple[Array, Array]:
    """Offsets found and true offsets from the centre line through one lap, m."""
    track = lap.track
    assert track is not None
    assert lap.time_s is not None
    inside = (track.time >= 0.0) & (track.time <= lap.time_s)
    at = track.time[inside] + lap.start_s
    return track.n[inside], np.interp(at, session.truth.t, session.truth.n)


def at_rest_before(session: Session, truth: CornerTruth) -> bool:
    """Whether the throttle came from a released pedal, so that its pick-up is an event."""
    i = int(np.searchsorted(session.truth.t, truth.throttle_s)) - 2
    return bool(session.truth.throttle[i] <= 0.02)


def slowed_by(session: Session, truth: CornerTruth) -> float:
    """Speed that came off between the lift and the corner's slowest place, m/s."""
    t, v = session.truth.t, session.truth.v
    if np.isnan(truth.off_full_s):
        return 0.0
    near = np.flatnonzero((t >= truth.off_full_s - 1.0) & (t <= truth.off_full_s + 8.0))
    lowest = near[np.argmin(np.abs(v[near] - truth.minimum_speed))]
    before = (t >= truth.off_full_s - 0.2) & (t <= t[lowest])
    return float(v[before].max() - truth.minimum_speed) if before.any() else 0.0


#: Action to the field of the truth that holds its time.
TIMES = {
    "off_throttle_m": "off_full_s",
    "brake_start_m": "brake_start_s",
    "brake_end_m": "brake_end_s",
    "throttle_first_m": "throttle_s",
    "full_throttle_m": "full_s",
}


def true_time(session: Session, action: str, truth: CornerTruth) -> float:
    """Time of an action; NaN where it did not happen or is no event of the pedal."""
    at = float(getattr(truth, TIMES[action]))
    if action.startswith("brake") and not truth.braked:
        return float("nan")
    lifted = not np.isnan(truth.off_full_s)
    if not lifted or (action == "throttle_first_m" and not at_rest_before(session, truth)):
        return float("nan")
    return at


def errors_s(session: Session, found: Found, action: str) -> tuple[Array, int]:
    """Errors in time of an action over all passes, and how many were not found."""
    errors, lost = [], 0
    for truth, own in true_passes(session, found):
        at, place = true_time(session, action, truth), own.actions[action]
        if not np.isnan(at):
            lost += place is None
            if place is not None:
                errors.append(time_of(found, own, place) - at)
    return np.array(errors), lost
