"""What the traces show beside the costs: signs that tell causes apart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.redrive_entry import Way
from lapwright.driving.redrive_exit import Rest
from lapwright.driving.redrive_pass import (
    BRAKED,
    BRAKES,
    FULL,
    Pass,
    Usual,
    find_first,
    find_unrest,
)  # fmt: skip

#: A throttle that opens by less for each metre stands still.
STANDS = 0.004
#: Less than this is no lack of speed, m/s.
LACKS_MPS = 0.3


@dataclass(frozen=True, slots=True)
class Signs:
    """What the traces show beside the costs, other lap less base lap.

    Parameters
    ----------
    place_m
        How much later the braking is done.
    release_m
        How much later the slowest speed is reached, beyond ``place_m``.
    entry_mps, off_m, brake_start_m
        Speed and offset at the stretch's first sample, and how much later the brake is touched.
    coast_s
        Longer time from leaving the throttle to the brake.
    drag_s, drag_level, drag_even
        How much later the brake ends, its mean level in that time, and the share of that
        time in which it stays near its middle level.
    slow_before, slow_picked
        Share of the largest lack of speed about the turn that was there when the base lap's
        brake ended, and when it picked up the throttle: what comes of ending the one late or
        taking the other late comes behind it.
    pick_up_s
        How much later the throttle is picked up.
    gear, gear_s
        Mean difference of the gear from the turn to full throttle, and its sum over time.
    dips
        Dips after full throttle more than on the base lap.
    unrest
        Of the wheel, in the driver's own scatter.
    plateau_s
        Longer standstill or fall of the throttle on its way to full.
    fell
        How much further the throttle falls on its way to full.
    apart_m
        Largest distance between the lines about the turn.
    dip_m, dip_unrest, dip_apart_m
        Place of the other lap's dip in m, NaN without one; how much more restless the wheel
        is there than on the base lap (a ratio), and how far apart the lines are.
    """

    place_m: float = 0.0
    release_m: float = 0.0
    entry_mps: float = 0.0
    off_m: float = 0.0
    brake_start_m: float = 0.0
    coast_s: float = 0.0
    drag_s: float = 0.0
    drag_level: float = 0.0
    drag_even: float = 0.0
    slow_before: float = 0.0
    slow_picked: float = 0.0
    pick_up_s: float = 0.0
    gear: float = 0.0
    gear_s: float = 0.0
    dips: int = 0
    unrest: float = 0.0
    plateau_s: float = 0.0
    fell: float = 0.0
    apart_m: float = 0.0
    dip_m: float = float("nan")
    dip_unrest: float = 1.0
    dip_apart_m: float = 0.0
    slight: bool = False


def find_signs(
    a: Pass, b: Pass, way: Way, rest: Rest, turn: int, step_m: float, stretch: Stretch,
    usual: Usual, log_ratio: float,
) -> Signs:  # fmt: skip
    """Read the signs off the traces; ``log_ratio`` is 0 where the lines are alike."""
    coast = _coast_s(a, way.peak_other, turn) - _coast_s(b, way.peak, turn)
    drag_s, drag_level, drag_even, slow_before = _dragged(a, b, rest)
    about = slice(max(turn - 30, 0), turn + 40)
    unrest = (find_unrest(a.steering, turn) - usual.unrest) if a.steering is not None else 0.0
    gear = _gear_apart(a, b, turn, rest.until)
    dips = [(i, j) for sign, i, j in rest.dips if sign > 0]
    return Signs(
        place_m=step_m * float(way.place.mean()),
        release_m=step_m * float(way.release[0]),
        entry_mps=float(a.speed[0] - b.speed[0]),
        off_m=float(a.offset[0] - b.offset[0]),
        brake_start_m=step_m * float(_braked(a, way.peak_other, turn) - _braked(b, way.peak, turn)),
        coast_s=coast,
        drag_s=drag_s,
        drag_level=drag_level,
        drag_even=drag_even,
        slow_before=slow_before,
        slow_picked=_lacked(a, b, rest.picked[1], rest.picked[0] + 5),
        pick_up_s=float(step_m * (rest.picked[0] - rest.picked[1]) / b.speed[turn]),
        gear=gear,
        gear_s=gear * float(a.time[max(rest.until - 1, turn)] - a.time[turn]),
        dips=sum(sign for sign, _, _ in rest.dips),
        unrest=unrest / usual.unrest_sd if usual.unrest_sd > 0 else 0.0,
        plateau_s=_stood_s(a, rest.picked[0], rest.full[0])
        - _stood_s(b, rest.picked[1], rest.full[1]),
        fell=_fall(a, rest.picked[0], rest.full[0]) - _fall(b, rest.picked[1], rest.full[1]),
        apart_m=float(np.abs(a.offset[about] - b.offset[about]).max()) if log_ratio else 0.0,
        **_about_dip(a, b, dips[0][0], step_m, stretch.first) if dips else {},
        slight=way.slight,
    )


def _coast_s(one: Pass, peak: int, turn: int) -> float:
    """Time from leaving full throttle to the brake (or to the slowest place), s."""
    if one.throttle is None or one.brake is None:
        return 0.0
    off = find_first(one.throttle[: turn + 1] < FULL, max(peak - 10, 0))
    on = find_first(one.brake[: turn + 1] > BRAKES, off)
    return float(one.time[on] - one.time[off])


def _braked(one: Pass, peak: int, turn: int) -> int:
    """Sample at which the brake is touched, or without one the highest speed is left."""
    if one.brake is None:
        return peak
    return find_first(one.brake[: turn + 1] > BRAKES, max(peak - 10, 0))


def _about_dip(a: Pass, b: Pass, dip: int, step_m: float, first: int) -> dict[str, Any]:
    near = slice(max(dip - 40, 0), dip + 60)
    usual = find_unrest(b.steering, dip)
    return {
        "dip_m": step_m * (first + dip),
        "dip_unrest": find_unrest(a.steering, dip) / usual if usual > 0 else 1.0,
        "dip_apart_m": float(np.abs(a.offset[near] - b.offset[near]).max()),
    }


def _dragged(a: Pass, b: Pass, rest: Rest) -> tuple[float, float, float, float]:
    """How much later the brake ends, s, its mean level then, how even it is; `slow_before`."""
    if a.brake is None or b.brake is None:
        return 0.0, 0.0, 0.0, 0.0
    ends = []
    for brake, picked in ((a.brake, rest.picked[0]), (b.brake, rest.picked[1])):
        on = np.flatnonzero(brake[: picked + 1] > BRAKED)
        ends.append(int(on[-1]) if on.size else 0)
    end_a, end_b = ends
    later = float(np.sign(end_a - end_b) * abs(b.time[end_a] - b.time[end_b]))
    if end_a <= end_b + 2:
        return later, 0.0, 0.0, 0.0
    pressed = a.brake[end_b:end_a]
    middle = float(np.median(pressed))
    even = float(np.mean(np.abs(pressed - middle) < 0.15 * middle))
    return later, float(pressed.mean()), even, _lacked(a, b, end_b, end_a + 5)


def _lacked(a: Pass, b: Pass, first: int, last: int) -> float:
    """Share of the largest lack of speed between two samples that is there at the first."""
    lack = (b.speed - a.speed)[first : max(last, first + 1)]
    return float(lack[0] / lack.max()) if lack.max() > LACKS_MPS else 0.0


def _gear_apart(a: Pass, b: Pass, turn: int, until: int) -> float:
    if a.gear is None or b.gear is None:
        return 0.0
    near = slice(turn, max(until, turn + 1))
    return float(np.mean(np.round(a.gear[near]) - np.round(b.gear[near])))


def _stood_s(one: Pass, picked: int, full: int) -> float:
    """Longest time for which the throttle stood still or fell on its way up to full, s."""
    if one.throttle is None or full <= picked + 3:
        return 0.0
    rising = np.diff(one.throttle[picked : full + 1]) > STANDS
    held = np.diff(one.time[picked : full + 1]) * ~rising
    return max(float(run.sum()) for run in np.split(held, np.flatnonzero(rising)))


def _fall(one: Pass, picked: int, full: int) -> float:
    """Deepest fall of the throttle below what it had reached on its way up to full."""
    if one.throttle is None or full <= picked + 3:
        return 0.0
    way = one.throttle[picked : full + 1]
    return float(np.max(np.maximum.accumulate(way) - way))
