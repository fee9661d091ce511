"""Delays between sources that show the same events."""

from __future__ import annotations

from collections.abc import Mapping

from lapwright.numerics.series import DelayEstimate, Series

__all__ = ["DelayEstimate", "Series", "align_delays"]


def align_delays(series: Mapping[str, Series]) -> Mapping[str, DelayEstimate]:
    """Delay of each group of sources ("position", "imu", "wheels", "pedals") against the pedals."""
    raise NotImplementedError
