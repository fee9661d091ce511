"""Direction of the path against that of the car, kept apart from the motion."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from lapwright.numerics.series import Series

Array = NDArray[np.float64]

#: Below this speed (m/s) the direction of the velocity says nothing about sideslip.
SLIP_FROM = 3.0


def find_sideslip(
    sources: Mapping[str, Series], time: Array, direction: Array, speed: Array
) -> Array | None:
    """Find the sideslip from velocity components, else from the car's heading.

    Parameters
    ----------
    sources
        velocity_forward and velocity_left, or heading.
    time, direction, speed
        Of the path, shape (n,).

    Returns
    -------
    (n,) array or None
        rad, positive where the car moves to the left of where it points; NaN below 3 m/s.
        From a heading a constant misalignment is taken out, as the mean over the motion.
    """
    if "velocity_forward" in sources and "velocity_left" in sources:
        forward = _onto(time, sources["velocity_forward"])
        slip = np.arctan2(_onto(time, sources["velocity_left"]), forward)
        return np.where(np.abs(speed) > SLIP_FROM, slip, np.nan)
    if "heading" not in sources:
        return None
    heading = sources["heading"]
    good = np.isfinite(heading.values)
    turned = Series(heading.time[good], np.unwrap(heading.values[good]))
    slip = np.angle(np.exp(1j * (direction - _onto(time, turned))))
    slip[~(np.abs(speed) > SLIP_FROM)] = np.nan
    if np.isfinite(slip).any():
        slip = np.angle(np.exp(1j * (slip - np.nanmedian(slip))))
    return np.asarray(slip)


def _onto(time: Array, s: Series) -> Array:
    good = np.isfinite(s.values)
    if good.sum() < 2:
        return np.full(time.size, np.nan)
    return np.interp(time, s.time[good], s.values[good], left=np.nan, right=np.nan)
