"""Delays between sources that show the same events.

A logger's position often comes 0.1 to 0.2 s behind its pedals: 6 to 11 m at
200 km/h. Sources with a quantity in common are laid over each other at every
shift, with gain and offset left free; the shift with the smallest residual, to a
fraction of the step by a parabola, is the delay, and leaving out one piece of
the recording after the other gives its standard deviation (jackknife).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from lapwright.numerics.delay_kernels import sum_products
from lapwright.numerics.motion_chunks import in_threads
from lapwright.numerics.series import DelayEstimate, Series

__all__ = ["Comparison", "DelayEstimate", "Series", "align_delays", "find_delay"]

Array = NDArray[np.float64]

STEP_S = 0.02
LONGEST_S = 0.6
BLOCK_S = 10.0
#: Beyond this standard deviation (s), or below this correlation, nothing is decided.
LARGEST_SD = 0.03
LEAST_CORRELATION = 0.6
#: From pedal to acceleration a car takes about this long (brake pressure and tyres build up;
#: common practice, no source), with this standard deviation.
RESPONSE_S, RESPONSE_SD = 0.02, 0.02
#: Widths (s) to which the pedals are softened, as a smoothed acceleration is.
SOFTENED_S = (0.0, 0.05, 0.1, 0.2, 0.3)
#: What a car's body adds to the apparent delay: between speeds, forward accelerations, lateral
#: accelerations (roll and sideslip come between), s.
SYSTEMATIC_SD = {"speed": 0.001, "acceleration": 0.003, "lateral": 0.01}
#: A source whose acceleration follows the pedals within this time shares their clock.
SAME_CLOCK_S = 0.10
#: Only so much of a long recording is needed.
LONGEST_LOOK_S = 400.0


@dataclass(frozen=True, slots=True)
class Comparison:
    """One quantity seen by two sources on a common uniform time base.

    Parameters
    ----------
    target
        What is explained, shape (n,); NaN where unknown.
    fixed, moving
        What explains it, shapes (k, n) and (m, n): columns in the time of the first source
        and in that of the second, whose delay is sought.
    target_moves
        Whether the target belongs to the second source.
    """

    target: Array
    fixed: Array
    moving: Array
    target_moves: bool = False


def find_delay(
    comparisons: Sequence[Comparison], step: float, what: str, longest: float = LONGEST_S
) -> DelayEstimate:
    """Find by how much the moving source is late.

    Parameters
    ----------
    comparisons
        One or more quantities that the two sources share.
    step
        Grid step in s.
    what
        Description for the evidence.
    longest
        Largest delay looked for in either direction, in s.
    """
    reach = round(longest / step)
    pieces = [_residuals(c, step, reach) for c in comparisons]
    usable = [p for p in pieces if p is not None]
    if not usable:
        return _nothing(what, "too little in common")
    delay, correlation, inside = _best(usable, reach, step, None)
    blocks = usable[0].power.shape[1]
    left_out = np.array([_best(usable, reach, step, b)[0] for b in range(blocks)])
    sd = float(np.sqrt((blocks - 1) / blocks * np.sum((left_out - left_out.mean()) ** 2)))
    sd = max(sd, 0.02 * step)
    clear = inside and sd < LARGEST_SD and correlation > LEAST_CORRELATION
    evidence = f"{what}: {delay:+.3f} ± {sd:.3f} s, correlation {correlation:.2f}, {blocks} pieces"
    if not clear:
        return DelayEstimate(0.0, float("inf"), False, f"{evidence}: not decided", correlation)
    return DelayEstimate(delay, sd, True, evidence, correlation)


def _nothing(what: str, why: str) -> DelayEstimate:
    return DelayEstimate(0.0, float("inf"), False, f"{what}: {why}")


@dataclass(frozen=True, slots=True)
class _Moments:
    """Sums of products by shift and block: of columns, with the target, of the target."""

    gram: Array
    cross: Array
    power: Array
    mean: Array
    count: Array


def _residuals(c: Comparison, step: float, reach: int) -> _Moments | None:
    count = c.target.size
    width = round(BLOCK_S / step)
    inner = count - 2 * reach
    blocks = inner // width
    if blocks < 4:
        width = inner // 4
        blocks = 4
    if width < round(2.0 / step):
        return None
    size = 1 + c.fixed.shape[0] + c.moving.shape[0]
    shifts = 2 * reach + 1
    gram = np.empty((shifts, blocks, size, size))
    cross = np.empty((shifts, blocks, size))
    power, mean, number = (np.empty((shifts, blocks)) for _ in range(3))
    target, fixed, moving = (np.ascontiguousarray(v) for v in (c.target, c.fixed, c.moving))
    sum_products(
        target, fixed, moving, c.target_moves, reach, width, gram, cross, power, mean, number
    )
    if number.sum(axis=1).min() < 20 * size:
        return None
    return _Moments(gram, cross, power, mean, number)


def _best(
    pieces: Sequence[_Moments], reach: int, step: float, without: int | None
) -> tuple[float, float, bool]:
    """Delay, correlation there, and whether it lies within the range looked at."""
    cost = np.zeros(2 * reach + 1)
    explained = []
    for p in pieces:
        share = _unexplained(p, without)
        weight = p.count.mean(axis=0).sum()
        cost += weight * np.log(np.maximum(share, 1e-9))
        explained.append(share)
    at = int(np.argmin(cost))
    correlation = float(np.sqrt(max(1.0 - min(s[at] for s in explained), 0.0)))
    if not 0 < at < 2 * reach:
        return (at - reach) * step, correlation, False
    before, here, after = cost[at - 1 : at + 2]
    bend = before - 2.0 * here + after
    part = 0.5 * (before - after) / bend if bend > 0.0 else 0.0
    return float((at - reach + part) * step), correlation, True


def _unexplained(p: _Moments, without: int | None) -> Array:
    """Share of the target's variance that is left, by shift."""
    gram, cross, power, mean, count = (
        values.sum(axis=1) - (0.0 if without is None else values[:, without])
        for values in (p.gram, p.cross, p.power, p.mean, p.count)
    )
    scale = np.sqrt(np.maximum(np.einsum("kii->ki", gram), 1e-12))
    gram = gram / (scale[:, :, None] * scale[:, None, :])
    gram += 1e-9 * np.eye(gram.shape[1])
    solved = np.linalg.solve(gram, (cross / scale)[:, :, None])[:, :, 0]
    total = power - mean**2 / count
    left = power - np.sum(solved * cross / scale, axis=1)
    return np.asarray(np.maximum(left, 0.0) / np.maximum(total, 1e-12))


def align_delays(
    series: Mapping[str, Series], longest_s: float = LONGEST_LOOK_S
) -> Mapping[str, DelayEstimate]:
    """Find how late each group of sources is against the pedals.

    Groups, present where their channels are: ``position`` (x, y), ``speed`` (speed or
    velocity_forward), ``imu`` (acceleration_forward, acceleration_left, yaw_rate) and
    ``pedals`` (throttle, brake or brake_pressure), whose delay is 0 by definition.
    Without pedals, delays are against the accelerometers, else against the speed.

    An accelerometer or a speed that follows the pedals within a tenth of a second is
    taken to share their clock; what is held against it inherits its precision. A source
    that can only be held against the pedals themselves carries the uncertainty of the
    car's own response (0.02 ± 0.02 s).

    Parameters
    ----------
    series
        By canonical name; others are passed over.
    longest_s
        At most so many seconds are looked at, where most is driven.
    """
    from lapwright.numerics.delay_views import build_views

    views = build_views(series, STEP_S, longest_s)
    found: dict[str, DelayEstimate] = {}
    _enter_clocks(views, found)
    for group in views:
        if group not in found:
            found[group] = _against(views, group, found)
    return found


def _enter_clocks(
    views: Mapping[str, Mapping[str, Array]], found: dict[str, DelayEstimate]
) -> None:
    """Enter the pedals and what shares their clock."""
    if "pedals" in views:
        found["pedals"] = DelayEstimate(0.0, 0.0, True, "its clock counts")
    for group in ("imu", "speed"):
        if group not in views or (len(found) > 0 and "pedals" not in views):
            continue
        if "pedals" not in views:
            found[group] = DelayEstimate(0.0, 0.0, True, "no pedals: its clock counts")
            continue
        if "imu" in found:
            continue  # the speed is then held against the accelerometers, which is sharper
        response = _response(views, group)
        if response.identifiable and abs(response.delay_s - RESPONSE_S) < SAME_CLOCK_S:
            evidence = f"{response.evidence}: the car's own response, so one clock"
            found[group] = replace(response, delay_s=0.0, sd=RESPONSE_SD / 4, evidence=evidence)


def _response(views: Mapping[str, Mapping[str, Array]], group: str) -> DelayEstimate:
    """Delay of a group's acceleration behind the pedals, the car's response included."""
    view, pedals = views[group], views["pedals"]
    what = f"acceleration of {group} against the pedals"
    if "acceleration" not in view:
        return _nothing(what, "no acceleration")
    moving = [view[q] ** 2 for q in ("speed", "lateral") if q in view]
    speed = view.get("speed")
    columns = list(pedals.values())
    if "throttle" in pedals and speed is not None:
        # at a given power, drive falls with speed
        columns.append(pedals["throttle"] * 20.0 / np.maximum(np.nan_to_num(speed, nan=20.0), 10.0))
    still = np.stack(moving) if moving else np.zeros((0, view["acceleration"].size))

    def try_width(width: float) -> DelayEstimate:
        soft = np.stack([_soften(c, width / STEP_S) for c in columns])
        pair = Comparison(view["acceleration"], soft, still, target_moves=True)
        return find_delay([pair], STEP_S, what)

    tried = in_threads(try_width, SOFTENED_S)
    return max(tried, key=lambda d: np.nan_to_num(d.correlation, nan=-1.0))


def _soften(column: Array, width: float) -> Array:
    if width <= 0.0:
        return column
    known = np.isfinite(column)
    filled = gaussian_filter1d(np.where(known, column, 0.0), width)
    share = gaussian_filter1d(known.astype(np.float64), width)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(known, filled / share, np.nan))


def _against(
    views: Mapping[str, Mapping[str, Array]], group: str, found: Mapping[str, DelayEstimate]
) -> DelayEstimate:
    """Delay of a group by the sharpest comparison with one whose delay is known."""
    tried = []
    for known, delay in found.items():
        if known == "pedals" or not delay.identifiable:
            continue
        for name in SYSTEMATIC_SD:
            result = _compare(views[known], views[group], name, f"{group} against {known}, {name}")
            if result is not None and result.identifiable:
                sd = float(np.sqrt(result.sd**2 + delay.sd**2 + SYSTEMATIC_SD[name] ** 2))
                tried.append(replace(result, delay_s=result.delay_s + delay.delay_s, sd=sd))
    if tried:
        return min(tried, key=lambda d: d.sd)
    if "pedals" not in views:
        return _nothing(group, "nothing in common with a source whose clock is known")
    response = _response(views, group)
    if not response.identifiable:
        return response
    sd = float(np.hypot(response.sd, RESPONSE_SD))
    evidence = f"{response.evidence}, of which {RESPONSE_S:.2f} ± {RESPONSE_SD:.2f} s the car's"
    return replace(response, delay_s=response.delay_s - RESPONSE_S, sd=sd, evidence=evidence)


def _compare(
    clock: Mapping[str, Array], late: Mapping[str, Array], name: str, what: str
) -> DelayEstimate | None:
    """Hold one quantity of two groups against each other; accelerometers may sit askew."""
    if name not in clock or name not in late:
        return None
    columns = [name] if name == "speed" else ["acceleration", "lateral"]
    moving = np.stack([late[c] for c in columns if c in late])
    none = np.zeros((0, moving.shape[1]))
    return find_delay([Comparison(clock[name], none, moving)], STEP_S, what)
