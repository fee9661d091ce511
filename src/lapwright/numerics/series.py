"""One measured quantity over time, and what an estimate of motion returns."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Series:
    """A measured quantity on its own time base.

    Parameters
    ----------
    time
        Seconds, strictly increasing, shape (n,).
    values
        SI units, shape (n,); NaN where missing.
    sd
        Standard deviation of one value where it is known, else None and it is
        estimated from the data.
    """

    time: Array
    values: Array
    sd: float | None = None


@dataclass(frozen=True, slots=True)
class Correction:
    """What was taken out of a source before it was used: measured = offset + scale · true.

    Parameters
    ----------
    offset, offset_sd
        In the source's unit. For an accelerometer's axes after the mounting
        angle was taken out.
    scale, scale_sd
        Slope against the motion that the other sources show; 1 where it was
        not corrected.
    """

    offset: float
    offset_sd: float
    scale: float = 1.0
    scale_sd: float = float("nan")


@dataclass(frozen=True, slots=True)
class Bridge:
    """A stretch without an accepted position.

    Parameters
    ----------
    from_s, to_s
        Times of the last position before and the first after it.
    position_sd
        Largest standard deviation of a coordinate within it, in metres.
    """

    from_s: float
    to_s: float
    position_sd: float


@dataclass(frozen=True, slots=True)
class Motion:
    """One consistent motion on a uniform time base; all arrays have shape (n,).

    Standard deviations are those of the random errors that the filter can see.
    A slow drift of the position (GNSS) cannot be seen by it: where the caller
    gave a standard deviation for the position that is larger than the scatter
    found, the rest is ``position_drift_sd`` and is part of ``position_sd``.

    Parameters
    ----------
    time
        Seconds, uniform step.
    x, y
        Metres, in the frame of the position source; from the origin where there is none.
    heading
        Direction of the path in rad from the x axis, left positive, unwrapped.
    speed
        Along the path, m/s, never negative.
    acceleration_forward
        Along the path, m/s^2.
    acceleration_left
        Across the path, m/s^2: speed squared times curvature, positive in a left turn.
    yaw_rate
        Rate of turn of the path in rad/s.
    curvature
        Of the path, 1/m, left turns positive.
    position_sd
        Of either coordinate, m. The other ``_sd`` are named after their quantity.
    sideslip
        Direction of the path less that of the car in rad, left positive, NaN below 3 m/s or
        where unknown; None without velocity components or a heading.
    corrections
        By source: what was taken out of it.
    mounting_angle, mounting_angle_sd
        Rotation of the accelerometers about z against the path in rad, left positive;
        None where it cannot be told.
    noise
        By source: standard deviation of one sample as found or given ("position" for both
        coordinates; "time" for the scatter of the positions' time stamps, s).
    used, not_used
        Names of the sources; for those not used the reason.
    rejected
        By source: number of samples left out because they lay more than 6 standard
        deviations off.
    rejected_times
        By source: their times.
    bridges
        Stretches without position.
    position_drift_sd
        See above; 0 where nothing is known of a drift.
    """

    time: Array
    x: Array
    y: Array
    heading: Array
    speed: Array
    acceleration_forward: Array
    acceleration_left: Array
    yaw_rate: Array
    curvature: Array
    position_sd: Array
    heading_sd: Array
    speed_sd: Array
    acceleration_forward_sd: Array
    acceleration_left_sd: Array
    yaw_rate_sd: Array
    curvature_sd: Array
    sideslip: Array | None = None
    corrections: Mapping[str, Correction] = field(default_factory=dict)
    mounting_angle: float | None = None
    mounting_angle_sd: float | None = None
    noise: Mapping[str, float] = field(default_factory=dict)
    used: tuple[str, ...] = ()
    not_used: Mapping[str, str] = field(default_factory=dict)
    rejected: Mapping[str, int] = field(default_factory=dict)
    rejected_times: Mapping[str, Array] = field(default_factory=dict)
    bridges: tuple[Bridge, ...] = ()
    position_drift_sd: float = 0.0

    @property
    def rate_hz(self) -> float:
        """Samples a second."""
        return float((self.time.size - 1) / (self.time[-1] - self.time[0]))


@dataclass(frozen=True, slots=True)
class DelayEstimate:
    """How much later one source shows an event than another.

    Parameters
    ----------
    delay_s
        Positive where the source is late; to align it, subtract from its time stamps.
        0 where not identifiable.
    sd
        Standard deviation in s; infinite where not identifiable.
    identifiable
        Whether the data decide the delay.
    evidence
        What was held against what, and how well they agreed, in words.
    correlation
        Correlation at the best delay; NaN where nothing could be compared.
    """

    delay_s: float
    sd: float
    identifiable: bool
    evidence: str
    correlation: float = float("nan")
