"""Pedals, wheel and gear as a driver would speak of them: shares, and a wheel that is straight."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lapwright.model.amend import blank_marked
from lapwright.model.drive import Drive
from lapwright.model.lap import Trace
from lapwright.model.recording import Recording

Array = NDArray[np.float64]

#: A straight for the wheel's zero: at least this fast and this little bent.
STRAIGHT_MPS, STRAIGHT_BEND = 15.0, 0.0008


def build_signals(drive: Drive) -> dict[str, Trace]:
    """Throttle and brake as shares, steering about its zero, and the gear.

    The throttle is divided by the highest plateau that this pedal reaches in the
    recording (a pedal may end at 94 %), the brake by its highest pressure; what a
    released pedal shows is taken off before. Times are the recording's.
    """
    recording, motion = drive.recording, drive.motion
    out: dict[str, Trace] = {}
    moving = motion.time[motion.speed > 5.0]
    span = (moving[0], moving[-1]) if moving.size else (motion.time[0], motion.time[-1])
    for name, source in (("throttle", "throttle"), ("brake", _brake_name(recording))):
        if source in recording.channels:
            trace = _clean(recording, source)
            driven = (trace.time >= span[0]) & (trace.time <= span[1])
            if driven.sum() > 10:
                out[name] = _as_share(trace, trace.values[driven], plateau=name == "throttle")
    wheel = next((n for n in ("steering", "road_wheel_angle") if n in recording.channels), None)
    if wheel is not None:
        out["steering"] = _centred(_clean(recording, wheel), drive)
    for name in ("gear", "engine_speed"):
        if name in recording.channels:
            out[name] = _clean(recording, name)
    return {name: trace for name, trace in out.items() if trace.time.size > 10}


def _brake_name(recording: Recording) -> str:
    return "brake_pressure" if "brake_pressure" in recording.channels else "brake"


def _clean(recording: Recording, name: str) -> Trace:
    channel = blank_marked(recording, name)
    good = np.isfinite(channel.values)
    return Trace(channel.time[good], channel.values[good])


def _as_share(trace: Trace, driven: Array, *, plateau: bool) -> Trace:
    rest = _released(driven)
    top = _plateau(driven, trace) if plateau else float(np.quantile(driven, 0.999))
    reach = top - rest
    if reach <= 0:
        return replace(trace, values=np.zeros_like(trace.values))
    return replace(trace, values=np.clip((trace.values - rest) / reach, 0.0, None))


def _released(values: Array) -> float:
    """Value of a released pedal: the densest place in the lowest tenth of the range."""
    low, high = np.quantile(values, [0.0, 0.999])
    near = values[values <= low + 0.1 * (high - low)]
    return float(np.median(near)) if near.size else float(low)


def _plateau(values: Array, trace: Trace) -> float:
    """Highest value that is held for 0.3 s at least: a moving minimum's maximum."""
    step = float(np.median(np.diff(trace.time))) if trace.time.size > 1 else 0.01
    width = max(1, round(0.3 / step))
    if width >= values.size:
        return float(values.max())
    held = np.lib.stride_tricks.sliding_window_view(values, width).min(axis=1)
    return float(np.quantile(held, 0.9995))


def _centred(trace: Trace, drive: Drive) -> Trace:
    motion = drive.motion
    straight = (motion.speed > STRAIGHT_MPS) & (np.abs(motion.curvature) < STRAIGHT_BEND)
    if straight.sum() < 20:
        return trace
    zero = np.median(np.interp(motion.time[straight], trace.time, trace.values))
    return replace(trace, values=trace.values - float(zero))
