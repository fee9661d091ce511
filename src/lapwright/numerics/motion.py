"""One consistent motion out of any subset of position, speed, yaw rate and accelerations."""

from __future__ import annotations

from collections.abc import Mapping

from lapwright.numerics.series import Bridge, Correction, Motion, Series

__all__ = ["Bridge", "Correction", "Motion", "Series", "estimate_motion"]


def estimate_motion(series: Mapping[str, Series], *, rate_hz: float | None = None) -> Motion:
    """Estimate the motion; see `Motion`."""
    raise NotImplementedError
