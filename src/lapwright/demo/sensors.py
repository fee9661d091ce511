"""Sensors and the logger: from the true motion to what a log holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import layout as ly
from lapwright.demo.car import Car

Array = NDArray[np.float64]
Channel = tuple[str, Array, Array]
_STRETCH = 20_000


@dataclass(frozen=True, slots=True)
class Sensors:
    """What the logger measures, and how badly.

    Parameters
    ----------
    rate_hz, position_rate_hz
        1 to 1000; the position's own rate if it has one.
    position_sd_m, drift_m, drift_time_s
        White noise per axis; a slow drift's standard deviation and correlation time.
    delay_s
        By how much position (and height) come late against everything else.
    speed_sd_mps, yaw_rate_sd, acceleration_sd
        White noise of speed, yaw rate (rad/s) and accelerations (m/s²).
    yaw_rate_bias, acceleration_bias
        Constant errors of the IMU, rad/s and (forward, left, up) m/s².
    mount_yaw, mount_pitch, mount_roll
        Rotation in rad of the IMU against the car.
    pedal_end, brake_end
        What the pedal channels read at their stops: 0.94 for a throttle that ends at 94 %.
    brake_as_pressure
        Brake pressure instead of a share of the pedal.
    steering_offset
        Zero error of the hand wheel in rad.
    antenna_m
        Where the antenna sits from the middle of the wheelbase: forward, left, up.
    geodetic
        Latitude, longitude, altitude instead of x, y, z; ``origin`` in degrees, degrees, m.
    dropouts
        Spans (start s, length s) in which the position is missing.
    channels
        Names to leave out, for example ``("gear",)``.
    """

    rate_hz: float = 100.0
    position_rate_hz: float | None = None
    position_sd_m: float = 0.02
    height_sd_m: float = 0.03
    drift_m: float = 0.0
    drift_time_s: float = 120.0
    delay_s: float = 0.0
    speed_sd_mps: float = 0.05
    yaw_rate_sd: float = 0.003
    acceleration_sd: float = 0.15
    yaw_rate_bias: float = 0.0
    acceleration_bias: tuple[float, float, float] = (0.0, 0.0, 0.0)
    mount_yaw: float = 0.0
    mount_pitch: float = 0.0
    mount_roll: float = 0.0
    pedal_end: float = 1.0
    brake_end: float = 1.0
    brake_as_pressure: bool = True
    brake_pressure_pa: float = 9.0e6
    steering_offset: float = 0.0
    antenna_m: tuple[float, float, float] = (0.0, 0.0, 0.0)
    geodetic: bool = False
    origin: tuple[float, float, float] = (12.0, 34.0, 100.0)
    dropouts: tuple[tuple[float, float], ...] = ()
    without: tuple[str, ...] = ()


def true_middle(rows: Array, car: Car, antenna: tuple[float, float, float]) -> Array:
    """Position (k, 3) of a point given from the middle of the wheelbase on the ground."""
    forward = antenna[0] + (car.axle_f - car.axle_r) / 2
    c, s = np.cos(rows[:, ly.O_PSI]), np.sin(rows[:, ly.O_PSI])
    x = rows[:, ly.O_X] + forward * c - antenna[1] * s
    y = rows[:, ly.O_Y] + forward * s + antenna[1] * c
    return np.column_stack([x, y, rows[:, ly.O_Z] + antenna[2]])


def _true_at(times: Array, rows: Array, car: Car, antenna: tuple[float, float, float]) -> Array:
    """Interpolate the true position (k, 3) at rising times; in stretches, to spare memory."""
    t = rows[:, ly.O_T]
    out = np.empty((times.size, 3))
    for first in range(0, times.size, _STRETCH):
        part = times[first : first + _STRETCH]
        low = max(int(np.searchsorted(t, part[0], side="right")) - 2, 0)
        high = int(np.searchsorted(t, part[-1])) + 2
        true = true_middle(rows[low:high], car, antenna)
        for k in range(3):
            out[first : first + part.size, k] = np.interp(part, t[low:high], true[:, k])
    return out


def _drift(rng: np.random.Generator, t: Array, size: float, span: float) -> Array:
    """Slowly wandering error (k, 3) with standard deviation ``size`` in m."""
    knots = np.arange(t[0] - 1.0, t[-1] + span, span / 10)
    walk = np.zeros((knots.size, 3))
    keep = np.exp(-0.1)
    steps = rng.standard_normal(walk.shape)
    walk[0] = steps[0]
    for i in range(1, knots.size):
        walk[i] = keep * walk[i - 1] + np.sqrt(1 - keep**2) * steps[i]
    return size * np.column_stack([np.interp(t, knots, walk[:, k]) for k in range(3)])


def to_geodetic(position: Array, origin: tuple[float, float, float]) -> Array:
    """Latitude, longitude (deg) and altitude (m) of a local tangent plane, WGS 84.

    East, north, up to earth-centred coordinates and back by iteration
    (textbook geodesy; the ellipsoid's a and 1/f are the standard's).
    """
    a, f = 6378137.0, 1 / 298.257223563
    e2 = f * (2 - f)
    lat, lon, h = np.radians(origin[0]), np.radians(origin[1]), origin[2]
    sl, cl, so, co = np.sin(lat), np.cos(lat), np.sin(lon), np.cos(lon)
    big = a / np.sqrt(1 - e2 * sl * sl)
    e, n, u = position.T
    x = (big + h) * cl * co - so * e - sl * co * n + cl * co * u
    y = (big + h) * cl * so + co * e - sl * so * n + cl * so * u
    z = (big * (1 - e2) + h) * sl + cl * n + sl * u
    p = np.hypot(x, y)
    phi = np.arctan2(z, p * (1 - e2))
    for _ in range(6):
        r = a / np.sqrt(1 - e2 * np.sin(phi) ** 2)
        phi = np.arctan2(z + e2 * r * np.sin(phi), p)
    r = a / np.sqrt(1 - e2 * np.sin(phi) ** 2)
    return np.column_stack([np.degrees(phi), np.degrees(np.arctan2(y, x)), p / np.cos(phi) - r])


def _turned(force: Array, sensors: Sensors) -> Array:
    """Specific force (k, 3) in the axes of a tilted, turned sensor."""
    cy, sy = np.cos(sensors.mount_yaw), np.sin(sensors.mount_yaw)
    cp, sp = np.cos(sensors.mount_pitch), np.sin(sensors.mount_pitch)
    cr, sr = np.cos(sensors.mount_roll), np.sin(sensors.mount_roll)
    yaw = np.array([[cy, sy, 0], [-sy, cy, 0], [0, 0, 1]])
    pitch = np.array([[cp, 0, -sp], [0, 1, 0], [sp, 0, cp]])
    roll = np.array([[1, 0, 0], [0, cr, sr], [0, -sr, cr]])
    return np.asarray(force @ (roll @ pitch @ yaw).T, dtype=np.float64)


def _position(
    rng: np.random.Generator, t: Array, rows: Array, car: Car, sensors: Sensors
) -> dict[str, Channel]:
    rate = sensors.position_rate_hz or sensors.rate_hz
    stamps = np.arange(np.ceil(t[0] * rate), np.floor(t[-1] * rate) + 1) / rate
    at = _true_at(stamps - sensors.delay_s, rows, car, sensors.antenna_m)
    sd = np.array([sensors.position_sd_m, sensors.position_sd_m, sensors.height_sd_m])
    at = at + rng.standard_normal(at.shape) * sd
    at += _drift(rng, stamps, sensors.drift_m, sensors.drift_time_s)
    for start, length in sensors.dropouts:
        at[(stamps >= start) & (stamps < start + length)] = np.nan
    if sensors.geodetic:
        at = to_geodetic(at, sensors.origin)
        names = (("latitude", "deg"), ("longitude", "deg"), ("altitude", "m"))
    else:
        names = (("x", "m"), ("y", "m"), ("z", "m"))
    return {name: (unit, stamps, at[:, k]) for k, (name, unit) in enumerate(names)}


def measure(rows: Array, car: Car, sensors: Sensors, seed: int) -> dict[str, Channel]:
    """Measure the true motion, rows whose times run on: name to (unit, times, values)."""
    if not 1.0 <= sensors.rate_hz <= 1000.0:
        raise ValueError(f"rate_hz: 1 to 1000 is possible, not {sensors.rate_hz}")
    rng = np.random.default_rng([seed, 9001])
    t = rows[:, ly.O_T]
    out = _position(rng, t, rows, car, sensors)
    stamps = np.arange(np.ceil(t[0] * sensors.rate_hz), np.floor(t[-1] * sensors.rate_hz) + 1)
    stamps = stamps / sensors.rate_hz
    pick = np.clip(np.searchsorted(t, stamps - 5e-4), 0, t.size - 1)
    k = stamps.size

    def at(column: int) -> Array:
        return np.asarray(rows[pick, column], dtype=np.float64)

    def noisy(values: Array, sd: float) -> Array:
        return np.asarray(values + rng.standard_normal(k) * sd, dtype=np.float64)

    speed = np.hypot(at(ly.O_VX), at(ly.O_VY))
    # an accelerometer feels forces, not gravity: what the state holds along the road is motion
    force = _turned(np.column_stack([at(ly.O_FELT_X), at(ly.O_FELT_Y), at(ly.O_FELT_Z)]), sensors)
    bias = sensors.acceleration_bias
    wheel = at(ly.O_STEER) * car.steer_ratio + sensors.steering_offset
    brake = at(ly.O_BRK)
    values: dict[str, tuple[str, Array]] = {
        "speed": ("m/s", np.maximum(noisy(speed, sensors.speed_sd_mps), 0.0)),
        "yaw_rate": ("rad/s", noisy(at(ly.O_R), sensors.yaw_rate_sd) + sensors.yaw_rate_bias),
        "acceleration_forward": ("m/s^2", noisy(force[:, 0], sensors.acceleration_sd) + bias[0]),
        "acceleration_left": ("m/s^2", noisy(force[:, 1], sensors.acceleration_sd) + bias[1]),
        "acceleration_up": ("m/s^2", noisy(force[:, 2], 2 * sensors.acceleration_sd) + bias[2]),
        "steering": ("rad", noisy(wheel, 0.004)),
        "throttle": ("1", at(ly.O_THR) * sensors.pedal_end),
        "gear": ("1", at(ly.O_GEAR)),
        "engine_speed": ("rad/s", noisy(at(ly.O_RPM), 0.8)),
    }
    if sensors.brake_as_pressure:
        values["brake_pressure"] = ("Pa", brake * sensors.brake_pressure_pa)
    else:
        values["brake"] = ("1", brake * sensors.brake_end)
    for i, name in enumerate(("front_left", "front_right", "rear_left", "rear_right")):
        spin = at(ly.O_W0 + i) * car.wheel_radius
        values[f"wheel_speed_{name}"] = ("m/s", np.maximum(noisy(spin, 0.04), 0.0))
    out |= {name: (unit, stamps, data) for name, (unit, data) in values.items()}
    return {name: channel for name, channel in out.items() if name not in sensors.without}
