"""The demo's car: parameters and where they come from.

Mass, axle distances, yaw inertia, width, track widths, wheel radius and wheel inertia
are those of parameter set 2 in the open package commonroad-vehicle-models
(BSD-3-Clause; M. Althoff and G. Würsching, *CommonRoad: Vehicle Models*, 2020).
All else (tyres, engine, gears, brakes, wings, height of the centre of gravity)
is invented, as that set is a road car and this is none.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

#: Width over all in m; the motion does not know it: the middle of each tyre meets the road.
WIDTH_M = 1.61


class Car(NamedTuple):
    """A two-track car in SI units; front and rear are ``_f`` and ``_r``.

    ``tyre_grip`` is the peak friction at ``tyre_load`` newtons on one tyre; it
    falls by ``tyre_fade`` per doubling of the load (linearly). ``slip_x`` and
    ``slip_y`` are the slip ratio and the tangent of the slip angle of the peak.
    ``engine_torque`` in N m stands over equal steps of ``engine_step`` rad/s.
    """

    mass: float = 1093.3
    inertia: float = 1791.6
    axle_f: float = 1.1562
    axle_r: float = 1.4227
    track_f: float = 1.387
    track_r: float = 1.364
    height: float = 0.46
    roll_share: float = 0.53
    load_lag: float = 0.06
    wheel_radius: float = 0.344
    wheel_inertia: float = 1.7
    tyre_grip: float = 1.42
    tyre_load: float = 2700.0
    tyre_fade: float = 0.11
    tyre_shape: float = 1.5
    tyre_stiffness: float = 1.7320508
    slip_x: float = 0.10
    slip_y: float = 0.11
    rear_grip: float = 1.08
    brake_force: float = 24000.0
    brake_bias: float = 0.73
    rolling: float = 0.013
    drag_area: float = 0.92
    down_area: float = 1.75
    down_front: float = 0.44
    engine_step: float = 40.0
    engine_torque: Array = np.zeros(1)
    engine_drag: float = 32.0
    engine_inertia: float = 0.10
    engine_idle: float = 380.0
    engine_up: float = 775.0
    engine_down: float = 715.0
    gears: Array = np.zeros(1)
    final: float = 3.45
    driveline: float = 0.94
    shift_time: float = 0.14
    diff_lock: float = 260.0
    steer_ratio: float = 13.5
    steer_max: float = 0.50

    @property
    def wheelbase(self) -> float:
        """Distance between the axles in m."""
        return self.axle_f + self.axle_r


def torque_curve(peak_nm: float = 400.0) -> Array:
    """Full-throttle torque over steps of 40 rad/s, invented: flat, then falling."""
    speed = np.arange(0, 1000, 40.0)
    return peak_nm * np.clip(1.0 - ((speed - 520.0) / 640.0) ** 2 * 0.9, 0.1, 1.0)


def club_car() -> Car:
    """Return the demo's car: about 260 kW on 1 093 kg with a moderate wing."""
    gears = np.array([2.92, 2.05, 1.58, 1.28, 1.07, 0.91])
    return Car(engine_torque=torque_curve(), gears=gears)
