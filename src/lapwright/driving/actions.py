"""What one lap does in one corner, action by action."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.action_names import ACTIONS
from lapwright.driving.braking import ENDED, Braking, find_braking, time_above
from lapwright.driving.passes import CornerPass
from lapwright.driving.throttle import RELEASED, Throttle, find_throttle
from lapwright.driving.window import Window, open_window
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap, knows_line
from lapwright.numerics.curves import at_places
from lapwright.numerics.events import crossing_time

Array = NDArray[np.float64]

#: Share of the corner's sharpest path curvature at which the car is turning.
TURNING = 0.2
#: Speed that has to come off within a corner for its slowest place to be the driver's, m/s.
LEAST_LOSS = 0.1
#: Share of the largest steering angle of the lap that counts as steering.
STEERING = 0.12


def find_passes(circuit: Circuit, laps: Sequence[Lap]) -> tuple[CornerPass, ...]:
    """Find all actions of all laps that count, corner by corner."""
    out = []
    for i, corner in enumerate(circuit.corners):
        before = circuit.corners[i - 1]
        after = circuit.corners[(i + 1) % len(circuit.corners)]
        for lap in laps:
            window = open_window(lap, circuit, corner, before, after) if lap.used else None
            if window is not None:
                out.append(_pass(circuit, window))
    return tuple(out)


def _pass(circuit: Circuit, window: Window) -> CornerPass:
    slowest = _slowest(window)
    braking = find_braking(window, slowest)
    throttle = find_throttle(window, slowest)
    found: dict[str, float | None] = {
        **_braking_actions(window, braking),
        **_throttle_actions(window, throttle, braking),
        **_speed_actions(window, slowest),
        **_line_actions(circuit, window),
        "gear": _gear(window, slowest),
    }
    places = {name for name, row in ACTIONS.items() if row.is_place}
    actions = {
        name: value % circuit.length_m if name in places and value is not None else value
        for name, value in ((n, found.get(n)) for n in ACTIONS)
    }
    time = window.end_s - window.start_s
    return CornerPass(window.corner.id, window.lap.id, time, actions)


def _slowest(window: Window) -> float:
    """Time of the lowest speed between the corner's start and end, within the sample.

    Where the car comes in accelerating, it is slower at the corner's start than where the
    driver then lifts: what counts is the place furthest below the speed already reached, if
    the car gains speed again within the corner (else it slows for the next one there).
    """
    track = window.track
    inside = np.flatnonzero(window.between(window.start_s, window.end_s))
    if inside.size < 3:
        return window.apex_s
    speed = track.speed[inside]
    least = max(LEAST_LOSS, 3.0 * float(np.median(track.speed_sd[inside])))
    gained = np.maximum.accumulate(speed[::-1])[::-1] - speed
    lost = np.where(gained > least, np.maximum.accumulate(speed) - speed, 0.0)
    i = int(inside[np.argmax(lost) if lost.max() > least else np.argmin(speed)])
    if 0 < i < track.time.size - 1:  # parabola through three samples
        a, b, c = track.speed[i - 1 : i + 2]
        bend = a - 2 * b + c
        shift = 0.5 * (a - c) / bend if bend > 1e-9 else 0.0
        return float(
            track.time[i] + np.clip(shift, -0.5, 0.5) * (track.time[i + 1] - track.time[i])
        )
    return float(track.time[i])


def _speed_actions(window: Window, slowest: float) -> dict[str, float | None]:
    track = window.track
    on_entry = window.between(window.start_s, max(slowest, window.start_s + 0.2))
    decelerating = -track.acceleration_forward[on_entry]
    inside = window.between(window.start_s, window.end_s)
    x = np.diff(track.time[inside]) * 0.5 * (track.speed[inside][1:] + track.speed[inside][:-1])
    return {
        "minimum_speed_mps": window.value("speed", slowest),
        "minimum_speed_m": window.value("s", slowest),
        "peak_deceleration_mps2": max(0.0, float(decelerating.max()))
        if decelerating.size
        else None,
        "exit_speed_mps": window.value("speed", window.end_s),
        "distance_driven_m": float(x.sum()),
        "corner_time_s": window.end_s - window.start_s,
    }


def _braking_actions(window: Window, braking: Braking | None) -> dict[str, float | None]:
    if braking is None:
        return {}
    duration = braking.end_s - braking.start_s
    lost = window.value("speed", braking.start_s) - window.value("speed", braking.end_s)
    return {
        "brake_start_m": window.value("s", braking.start_s),
        "brake_end_m": window.value("s", braking.end_s),
        "brake_rise_s": braking.rise_s,
        "brake_release_s": braking.release_s,
        "mean_deceleration_mps2": lost / duration if duration > 0.05 else None,
        "brake_steering_overlap_s": _steering_overlap(window, braking),
    }


def _steering_overlap(window: Window, braking: Braking) -> float | None:
    wheel = window.trace("steering")
    if wheel is None:
        return None
    level = STEERING * float(np.quantile(np.abs(wheel.values), 0.995))
    near = (wheel.time >= braking.start_s) & (wheel.time <= braking.end_s)
    if not near.any():
        return 0.0
    turned = window.sign * wheel.values[near] > level
    return float(turned.mean() * (braking.end_s - braking.start_s))


def _throttle_actions(
    window: Window, throttle: Throttle | None, braking: Braking | None
) -> dict[str, float | None]:
    if throttle is None:
        return {}
    out: dict[str, float | None] = {}
    for name, time in (
        ("off_throttle_m", throttle.off_s),
        ("throttle_first_m", throttle.first_s),
        ("full_throttle_m", throttle.full_s),
    ):
        out[name] = None if time is None else window.value("s", time)
    if throttle.full_s is not None and throttle.off_s is not None:
        out["off_full_throttle_s"] = throttle.full_s - throttle.off_s
    if throttle.full_s is not None and throttle.first_s is not None:
        out["time_to_full_throttle_s"] = throttle.full_s - throttle.first_s
    brake = window.trace("brake")
    if brake is not None and throttle.off_s is not None and throttle.first_s is not None:
        out["coasting_s"] = _coasting(window, throttle.off_s, throttle.first_s)
    if braking is not None:
        out["brake_throttle_overlap_s"] = _pedal_overlap(window, braking)
    return out


def _coasting(window: Window, off_s: float, first_s: float) -> float:
    """Time with neither pedal pressed between leaving the throttle and picking it up."""
    pedal = window.lap.traces["throttle"]
    brake = window.lap.traces["brake"]
    near = (pedal.time >= off_s) & (pedal.time <= first_s)
    if not near.any():
        return 0.0
    pressed = np.interp(pedal.time[near], brake.time, brake.values) > ENDED
    free = (pedal.values[near] < RELEASED) & ~pressed
    return float(free.mean() * (first_s - off_s))


def _pedal_overlap(window: Window, braking: Braking) -> float:
    above = time_above(window.trace("throttle"), RELEASED, braking.start_s, braking.end_s)
    return float(above.mean() * (braking.end_s - braking.start_s)) if above.size else 0.0


def _line_actions(circuit: Circuit, window: Window) -> dict[str, float | None]:
    track = window.track
    turning = np.flatnonzero(window.between(window.before_s, window.end_s))
    bend = window.sign * track.curvature[turning]
    own = track.time[turning] >= window.start_s
    if own.sum() < 3:
        return {}
    sharpest = int(np.argmax(np.where(own, bend, -np.inf)))
    soft = np.flatnonzero(bend[: sharpest + 1] < TURNING * bend[sharpest])
    begin = int(soft[-1]) + 1 if soft.size and soft[-1] < sharpest else 0
    turn_in = int(turning[begin])
    turned_s = crossing_time(track.time[turning], bend, TURNING * bend[sharpest], begin)
    if not knows_line(track.n_sd):
        return {"turn_in_m": window.value("s", turned_s)}
    left = at_places(circuit.length_m, circuit.left, track.s) - track.n
    right = at_places(circuit.length_m, circuit.right, track.s) + track.n
    inner, outer = (left, right) if window.sign > 0 else (right, left)
    in_turn = np.arange(turn_in, int(turning[-1]) + 1)
    apex = int(in_turn[np.argmin(inner[in_turn])])
    until = min(window.next_s, window.end_s + 2.0)
    way_out = np.flatnonzero(window.between(float(track.time[apex]), max(until, window.end_s)))
    return {
        "turn_in_m": window.value("s", turned_s),
        "apex_m": float(track.s[apex]),
        "apex_inside_m": float(inner[apex]),
        "entry_edge_m": float(outer[turn_in]),
        "exit_edge_m": float(outer[way_out].min()) if way_out.size else None,
    }


def _gear(window: Window, at_s: float) -> float | None:
    gear = window.trace("gear")
    if gear is None:
        return None
    i = int(np.clip(np.searchsorted(gear.time, at_s), 0, gear.time.size - 1))
    return float(round(gear.values[i]))
