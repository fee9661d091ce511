"""Laps as samples of force: what every fit of the car begins with."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter1d

from lapwright.errors import NoAnswerError
from lapwright.model.circuit import Circuit
from lapwright.model.fit_places import find_bends
from lapwright.model.lap import Lap, Track
from lapwright.physics.load import apparent_gravity, downhill_pull, lateral_force

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
#: Samples a second: smoothed motion says little more between them.
RATE_HZ = 20.0
#: Pedal shares from which the throttle is full, and up to which a pedal is at rest.
FULL, REST = 0.97, 0.03
#: A pedal must have stood so long before its sample counts, and must stand so long after, s.
SETTLED_S, LASTING_S = 0.4, 0.15
#: A change of gear is felt so long before and after the gear's number changes, s: the motion
#: is smoothed, and a clutch takes its time (common practice, no source).
CHANGE_S = 0.1, 0.35


@dataclass(frozen=True, slots=True)
class Samples:
    """Forces over mass in the road's plane, arrays of shape (k,), m/s².

    Parameters
    ----------
    lap
        Index of the lap among those given.
    bend
        Number of the bend in which, or before which, it lies.
    speed
        m/s.
    ahead
        Specific force along the path: dv/dt plus the pull of the slope. It is what
        tyres and resistance give together.
    left
        Specific force to the left in the road's plane: what the tyres give.
    normal
        Apparent gravity.
    ahead_sd, left_sd
        Standard deviations.
    full, coasting
        Settled full throttle; neither throttle nor brake for a while. All False
        where the pedals were not logged.
    changing
        About a change of gear, when the engine does not push; all False without gears.
    has_throttle
        Whether every lap has a throttle.
    """

    lap: NDArray[np.int64]
    bend: NDArray[np.int64]
    speed: Array
    ahead: Array
    left: Array
    normal: Array
    ahead_sd: Array
    left_sd: Array
    full: Flags
    coasting: Flags
    changing: Flags
    has_throttle: bool


def build_samples(laps: Sequence[Lap], circuit: Circuit) -> Samples:
    """Take samples of the used laps at `RATE_HZ`.

    Raises
    ------
    NoAnswerError
        When no lap can be used.
    """
    good = [lap for lap in laps if lap.used and lap.track is not None]
    if not good:
        raise NoAnswerError("No complete lap is placed on the road, so no car can be found")
    parts = [_lap_samples(lap, circuit) for lap in good]
    index = np.repeat(np.arange(len(good)), [p[0].size for p in parts])
    columns = [np.concatenate(c) for c in zip(*parts, strict=True)]
    fine = np.all(np.isfinite(columns[:6]), axis=0) & (columns[0] > 3.0)
    speed, ahead, left, normal, ahead_sd, left_sd, full, coasting, changing, s = (
        c[fine] for c in columns
    )
    return Samples(
        index[fine], find_bends(s, left, circuit.length_m), speed, ahead, left, normal, ahead_sd,
        left_sd, full > 0.5, coasting > 0.5, changing > 0.5,
        all("throttle" in lap.traces for lap in good),
    )  # fmt: skip


def _lap_samples(lap: Lap, circuit: Circuit) -> tuple[Array, ...]:
    track = lap.track
    assert track is not None
    end = lap.time_s if lap.time_s is not None else float(track.time[-1])
    time = np.arange(max(track.time[0], 0.0), end, 1 / RATE_HZ)

    def at(values: Array) -> Array:
        return np.interp(time, track.time, values)

    v, ax, ay = at(track.speed), at(track.acceleration_forward), at(track.acceleration_left)
    slope, cross, bend = _road_below(track, circuit, at)
    normal = apparent_gravity(v, slope, cross, bend)
    left = lateral_force(v, ay / np.maximum(v, 1.0) ** 2, slope, cross, normal)
    full, coasting = _pedals(lap, time)
    return (
        v, ax + downhill_pull(slope), left, normal, at(track.acceleration_forward_sd),
        at(track.acceleration_left_sd), full, coasting, _changing(lap, time), at(track.s),
    )  # fmt: skip


def _road_below(
    track: Track, circuit: Circuit, at: Callable[[Array], Array]
) -> tuple[Array, Array, Array]:
    """Read slope, cross slope and bend along the path on the surface z(s) + n · cross(s)."""
    places = np.r_[circuit.s, circuit.length_m]
    cross_all = np.tan(circuit.banking)
    rate = (np.roll(cross_all, -1) - np.roll(cross_all, 1)) / (2 * circuit.step_m)

    def read(values: Array) -> Array:
        s = np.mod(track.s, circuit.length_m)
        return np.asarray(at(np.interp(s, places, np.r_[values, values[0]])))

    n, turned = at(track.n), at(track.heading_error)
    curvature, cross = read(circuit.curvature), read(cross_all)
    ahead = np.cos(turned) / np.maximum(1 - n * curvature, 0.2)
    rise = read(circuit.slope) + n * read(rate)
    bend = read(circuit.vertical_curvature) * ahead**2 - cross * curvature * ahead
    return (
        rise * ahead + cross * np.sin(turned),
        cross * np.cos(turned) - rise * np.sin(turned),
        bend + 2 * read(rate) * ahead * np.sin(turned),
    )


def _pedals(lap: Lap, time: Array) -> tuple[Array, Array]:
    """Flag (0 or 1) settled full throttle and of coasting."""
    if "throttle" not in lap.traces:
        return np.zeros(time.size), np.zeros(time.size)
    throttle = lap.traces["throttle"]
    opened = np.interp(time, throttle.time, throttle.values)
    full = _settled(opened >= FULL)
    if "brake" not in lap.traces:
        return full, np.zeros(time.size)
    brake = lap.traces["brake"]
    braked = np.interp(time, brake.time, brake.values)
    return full, _settled((opened <= REST) & (braked <= REST))


def _changing(lap: Lap, time: Array) -> Array:
    """Flag (0 or 1) what lies about a change of gear."""
    gear = lap.traces.get("gear")
    if gear is None or gear.time.size < 2:
        return np.zeros(time.size)
    changes = gear.time[1:][np.diff(gear.values) != 0]
    before, after = CHANGE_S
    return np.asarray(
        np.searchsorted(changes, time + before) > np.searchsorted(changes, time - after), float
    )


def _settled(flags: Flags) -> Array:
    """Keep flags that stood for `SETTLED_S` before and will stand for `LASTING_S`."""
    before, after = round(SETTLED_S * RATE_HZ), round(LASTING_S * RATE_HZ)
    size = before + after + 1
    shift = size // 2 - after
    wide = minimum_filter1d(flags.astype(float), size, origin=shift, mode="nearest")
    return np.asarray(wide)
