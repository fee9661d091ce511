"""One consistent motion out of any subset of position, speed, yaw rate and accelerations.

An extended Kalman filter with a backward smoother (see ``motion_kernels``) on a
uniform grid; noise levels from the data (``motion_noise``); each source is first
held against the others (``motion_sources``).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import NoAnswerError
from lapwright.numerics import motion_kernels as mk
from lapwright.numerics.dead_reckoning import close_dead_reckoning, with_drift
from lapwright.numerics.motion_chunks import Measurements, Noise, Smoothed, smooth
from lapwright.numerics.motion_grid import (
    FASTEST_HZ,
    Binned,
    Grid,
    bin_series,
    choose_grid,
    drop_held,
    refine,
)
from lapwright.numerics.motion_noise import fit_noise, guess_noise, pick_stretches
from lapwright.numerics.motion_sources import (
    SMALLEST_ANGLE,
    Verdict,
    judge_sources,
    judge_standing,
    turn_back,
)
from lapwright.numerics.series import Bridge, Correction, Motion, Series
from lapwright.numerics.sideslip import find_sideslip

__all__ = [
    "Bridge",
    "Correction",
    "Motion",
    "Series",
    "close_dead_reckoning",
    "estimate_motion",
]

Array = NDArray[np.float64]

#: Canonical names in the rows of the measurement arrays.
ROWS = {
    "x": mk.AT_X,
    "y": mk.AT_Y,
    "speed": mk.AT_SPEED,
    "yaw_rate": mk.AT_YAW_RATE,
    "acceleration_forward": mk.AT_FORWARD,
    "acceleration_left": mk.AT_LEFT,
    "heading": mk.AT_DIRECTION,
}
SLIP_SOURCES = ("velocity_forward", "velocity_left", "heading")
#: Rounds in which the noise is found that the sources are held against each other with: its
#: variances stand by then, and the densities, which go on for long, hardly matter here.
JUDGE_ROUNDS = 4
#: A gap in the positions longer than this (s) and than five steps is a bridge.
GAP_S, GAP_STEPS = 0.3, 5.0
#: A given position scatter this much larger than the one found is a slow drift.
DRIFT_FACTOR = 1.25


@dataclass(frozen=True, slots=True)
class _Input:
    """Sources after choice: what goes into the filter, what is kept for sideslip."""

    series: dict[str, Series]
    slip: dict[str, Series]
    not_used: dict[str, str]
    has_place: bool


def estimate_motion(series: Mapping[str, Series], *, fastest_hz: float = FASTEST_HZ) -> Motion:
    """Estimate one motion with standard deviations.

    Parameters
    ----------
    series
        By canonical name, any subset of x, y, speed, velocity_forward, velocity_left,
        yaw_rate, acceleration_forward, acceleration_left, heading; others are passed
        over. Delays between the sources must be taken out of their times before.
    fastest_hz
        The result has the highest native rate, but no more than this; faster sources are
        averaged within a step.

    Returns
    -------
    Motion
        Over the span of the positions, or of the speed where there are none; then it
        starts at the origin, along the x axis or the heading.

    Raises
    ------
    NoAnswerError
        If there is neither a position nor a speed with which to find a motion.
    """
    chosen = _choose(series)
    anchors = ("x", "y") if chosen.has_place else ("speed",)
    outer = choose_grid(chosen.series, anchors, fastest_hz)
    grid, parts = refine(outer)
    binned = {name: bin_series(s, grid) for name, s in chosen.series.items() if name in ROWS}
    raw = _measurements(binned, grid)
    verdict = _judge(raw, chosen)
    measurements = _corrected(raw, verdict)
    known = _known_variances(chosen, binned)
    noise = fit_noise(pick_stretches(measurements), guess_noise(measurements), known)
    noise, drift = _split_drift(noise, chosen, binned)
    smoothed = smooth(measurements, noise)
    motion = _compose(chosen, verdict, measurements, grid, parts, noise, drift, smoothed)
    if chosen.has_place:
        return motion
    if "heading" in chosen.series:
        return with_drift(motion, 0.0)
    rest = verdict.corrections.get("yaw_rate")
    return with_drift(motion) if rest is None else with_drift(motion, rest.offset_sd)


def _choose(series: Mapping[str, Series]) -> _Input:
    """Sort out which sources can be used together."""
    given = {name: s for name, s in series.items() if np.isfinite(s.values).sum() > 1}
    not_used = {name: "holds no values" for name in series if name not in given}
    use = {name: given[name] for name in ROWS if name in given}
    _choose_speed(given, use, not_used)
    has_place = "x" in use and "y" in use
    if has_place:
        use["x"], use["y"] = drop_held(use["x"], use["y"])
    if not has_place:
        for name in ("x", "y"):
            if use.pop(name, None) is not None:
                not_used[name] = "the other coordinate is missing"
    if not has_place and "speed" not in use:
        raise NoAnswerError(
            "motion: neither a position nor a speed; at least one is needed to find the motion"
        )
    if has_place and "heading" in use:
        del use["heading"]
        not_used["heading"] = "kept for sideslip; the path's direction comes from the positions"
    if "heading" in use:
        heading = use["heading"]
        good = np.isfinite(heading.values)
        use["heading"] = Series(heading.time[good], np.unwrap(heading.values[good]), heading.sd)
    slip = {n: s for n, s in given.items() if n in SLIP_SOURCES}
    return _Input(use, slip, not_used, has_place)


def _choose_speed(
    given: Mapping[str, Series], use: dict[str, Series], not_used: dict[str, str]
) -> None:
    forward, left = given.get("velocity_forward"), given.get("velocity_left")
    if forward is None:
        if left is not None:
            not_used["velocity_left"] = "there is no velocity_forward beside it"
        return
    if "speed" in given:
        not_used["velocity_forward"] = "speed is used; velocity components give the sideslip"
        return
    across = np.zeros_like(forward.values)
    if left is not None:
        across = np.interp(forward.time, left.time, left.values, left=np.nan, right=np.nan)
    use["speed"] = Series(forward.time, np.hypot(forward.values, across), forward.sd)


def _measurements(binned: Mapping[str, Binned], grid: Grid) -> Measurements:
    values = np.full((mk.SOURCES, grid.count), np.nan)
    offsets = np.zeros((mk.SOURCES, grid.count))
    for name, row in ROWS.items():
        if name in binned:
            values[row] = binned[name].values
            offsets[row] = np.nan_to_num(binned[name].offsets)
    return Measurements(grid.step, values, offsets)


def _only(m: Measurements, rows: tuple[int, ...]) -> Measurements:
    values = np.full_like(m.values, np.nan)
    for row in rows:
        values[row] = m.values[row]
    return Measurements(m.step, values, m.offsets)


def _judge(raw: Measurements, chosen: _Input) -> Verdict:
    """Hold the sources against the motion of the most trustworthy ones, speed first."""
    verdict = Verdict()
    names = set(chosen.series)
    base: tuple[int, ...]
    if not chosen.has_place:
        verdict = judge_standing(raw)
        base = (mk.AT_SPEED, mk.AT_YAW_RATE, mk.AT_DIRECTION)
    elif "speed" in names:
        verdict = _judge_against(raw, (mk.AT_X, mk.AT_Y), ("speed",))
        base = (mk.AT_X, mk.AT_Y, mk.AT_SPEED)
    else:
        base = (mk.AT_X, mk.AT_Y)
    others = tuple(n for n in sorted(names) if ROWS[n] not in base)
    if others:
        found = _judge_against(_corrected(raw, verdict), base, others)
        verdict = Verdict(
            {**verdict.corrections, **found.corrections},
            {**verdict.not_used, **found.not_used},
            found.angle,
            found.angle_sd,
        )
    return verdict


def _judge_against(raw: Measurements, base: tuple[int, ...], names: tuple[str, ...]) -> Verdict:
    stretches = pick_stretches(raw)
    reference = [_only(m, base) for m in stretches]
    noise = fit_noise(reference, guess_noise(_only(raw, base)), {}, JUDGE_ROUNDS)
    pairs = [(m, smooth(r, noise).state) for m, r in zip(stretches, reference, strict=True)]
    return judge_sources(pairs, names)


def _corrected(raw: Measurements, verdict: Verdict) -> Measurements:
    """Take offsets, scales and the mounting angle out; blank what is not used."""
    values = raw.values.copy()
    if _turned(verdict):
        assert verdict.angle is not None
        values[mk.AT_FORWARD], values[mk.AT_LEFT] = turn_back(
            values[mk.AT_FORWARD], values[mk.AT_LEFT], verdict.angle
        )
    for name, correction in verdict.corrections.items():
        row = ROWS[name]
        values[row] = (values[row] - correction.offset) / correction.scale
    for name in verdict.not_used:
        values[ROWS[name]] = np.nan
    return Measurements(raw.step, values, raw.offsets)


def _turned(verdict: Verdict) -> bool:
    if verdict.angle is None or verdict.angle_sd is None:
        return False
    return abs(verdict.angle) >= max(float(SMALLEST_ANGLE), 3.0 * verdict.angle_sd)


def _known_variances(chosen: _Input, binned: Mapping[str, Binned]) -> dict[int, float]:
    """Variances that the caller gave; a position's is handled by `_split_drift`."""
    known = {}
    for name, s in chosen.series.items():
        if s.sd is not None and name not in ("x", "y"):
            known[ROWS[name]] = s.sd**2 / binned[name].each
    return known


def _split_drift(noise: Noise, chosen: _Input, binned: Mapping[str, Binned]) -> tuple[Noise, float]:
    """Part a given position error into the scatter seen and a slow rest that is not."""
    given = [chosen.series[n].sd for n in ("x", "y") if n in chosen.series]
    stated = [sd for sd in given if sd is not None]
    if not stated:
        return noise, 0.0
    whole = float(np.mean(np.square(stated)))
    seen = float(noise.variance[mk.AT_Y]) * binned["x"].each
    if whole > DRIFT_FACTOR**2 * seen:
        return noise, float(np.sqrt(whole - seen))
    variance = noise.variance.copy()
    variance[: mk.AT_Y + 1] = whole / binned["x"].each
    return replace(noise, variance=variance), 0.0


def _compose(
    chosen: _Input,
    verdict: Verdict,
    m: Measurements,
    grid: Grid,
    parts: int,
    noise: Noise,
    drift: float,
    out: Smoothed,
) -> Motion:
    """Build the record out of the filter's states."""
    pick = slice(None, None, parts)
    time = grid.time[pick]
    x, y, direction, v, a, k = out.state[pick, :6].T
    var = out.spread[pick, :6].T
    cross = out.cross[pick]
    turn_var = k**2 * var[3] + v**2 * var[5] + 2.0 * k * v * cross
    left_var = 4.0 * (k * v) ** 2 * var[3] + v**4 * var[5] + 4.0 * k * v**3 * cross
    names = [n for n in chosen.series if n not in verdict.not_used]
    rejected_times = {
        n: grid.time[out.rejected[ROWS[n]]] for n in names if out.rejected[ROWS[n]].any()
    }
    position_sd = np.sqrt(0.5 * (var[0] + var[1]) + drift**2)
    return Motion(
        time=time,
        x=x.copy(),
        y=y.copy(),
        heading=direction.copy(),
        speed=np.abs(v),
        acceleration_forward=np.where(v < 0.0, -a, a),
        acceleration_left=k * v**2,
        yaw_rate=k * v,
        curvature=k.copy(),
        position_sd=position_sd,
        heading_sd=np.sqrt(var[2]),
        speed_sd=np.sqrt(var[3]),
        acceleration_forward_sd=np.sqrt(var[4]),
        acceleration_left_sd=np.sqrt(np.maximum(left_var, 0.0)),
        yaw_rate_sd=np.sqrt(np.maximum(turn_var, 0.0)),
        curvature_sd=np.sqrt(var[5]),
        sideslip=find_sideslip(chosen.slip, time, direction, v),
        corrections=verdict.corrections,
        mounting_angle=verdict.angle,
        mounting_angle_sd=verdict.angle_sd,
        noise=_noise_by_name(names, noise),
        used=tuple(names),
        not_used={**chosen.not_used, **verdict.not_used},
        rejected={n: t.size for n, t in rejected_times.items()},
        rejected_times=rejected_times,
        bridges=_bridges(m, grid, out, drift) if chosen.has_place else (),
        position_drift_sd=drift,
    )


def _noise_by_name(names: list[str], noise: Noise) -> dict[str, float]:
    found = {n: float(np.sqrt(noise.variance[ROWS[n]])) for n in names if n not in ("x", "y")}
    if "x" in names:
        found["position"] = float(np.sqrt(noise.variance[mk.AT_Y]))
        found["time"] = float(np.sqrt(noise.jitter))
    return found


def _bridges(m: Measurements, grid: Grid, out: Smoothed, drift: float) -> tuple[Bridge, ...]:
    good = np.isfinite(m.values[mk.AT_X]) & ~out.rejected[mk.AT_X]
    at = np.flatnonzero(good)
    if at.size < 2:
        return ()
    steps = np.diff(at)
    longest = max(GAP_S / grid.step, GAP_STEPS * float(np.median(steps)))
    spread = np.sqrt(0.5 * (out.spread[:, 0] + out.spread[:, 1]) + drift**2)
    return tuple(
        Bridge(
            float(grid.time[at[i]]),
            float(grid.time[at[i + 1]]),
            float(spread[at[i] : at[i + 1] + 1].max()),
        )
        for i in np.flatnonzero(steps > longest)
    )
