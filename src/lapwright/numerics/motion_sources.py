"""Which sources agree with each other, and what has to be taken out of them first.

The reference is the smoothed motion from positions alone, or from speed and yaw
rate where there are none. A smoothed value is the truth less an error that is
independent of it, so a source may be regressed on it without the slope being
pulled towards zero (Berkson's case).
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lapwright.numerics import motion_kernels as mk
from lapwright.numerics.motion_chunks import Measurements
from lapwright.numerics.series import Correction

Array = NDArray[np.float64]

BLOCK_S = 0.5
#: Slopes within this range are a source's own scale; outside, it measures something else.
SLOPES = (0.8, 1.2)
SPEED_SLOPES = (0.9, 1.1)
LOWEST_CORRELATION = 0.8
#: A rotated mounting is corrected above this angle.
SMALLEST_ANGLE = np.radians(1.0)
#: A car that stands (m/s), for long enough in all (s).
STILL, STILL_S = 0.1, 2.0


@dataclass(frozen=True, slots=True)
class Verdict:
    """What was found about the sources.

    Parameters
    ----------
    corrections
        By canonical name.
    not_used
        Reasons, by canonical name.
    angle, angle_sd
        Mounting rotation of the accelerometers in rad, None where unknown.
    """

    corrections: Mapping[str, Correction] = field(default_factory=dict)
    not_used: Mapping[str, str] = field(default_factory=dict)
    angle: float | None = None
    angle_sd: float | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """Least-squares coefficients with their standard deviations and the correlation."""

    value: Array
    sd: Array
    correlation: float


def fit_line(columns: Array, target: Array) -> Line | None:
    """Robust linear regression (Huber weights); None without enough data.

    Parameters
    ----------
    columns
        Regressors, shape (n, k).
    target
        Shape (n,).
    """
    good = np.isfinite(target) & np.isfinite(columns).all(axis=1)
    a, b = columns[good], target[good]
    if b.size < 8 * a.shape[1] or np.linalg.matrix_rank(a) < a.shape[1]:
        return None
    weight = np.ones(b.size)
    for _ in range(8):
        root = np.sqrt(weight)
        value = np.linalg.lstsq(a * root[:, None], b * root, rcond=None)[0]
        residual = b - a @ value
        scale = max(1.4826 * float(np.median(np.abs(residual))), 1e-9)
        weight = np.minimum(1.0, 1.5 * scale / np.maximum(np.abs(residual), 1e-12))
    spread = np.linalg.inv((a * weight[:, None]).T @ a)
    noise = float(np.sum(weight * residual**2) / (weight.sum() - a.shape[1] + 1e-9))
    fitted = a @ value
    scatter = float(np.std(fitted) * np.std(b))
    correlation = (
        float(np.mean((fitted - fitted.mean()) * (b - b.mean())) / scatter) if scatter else 0.0
    )
    sd: Array = np.sqrt(np.diag(spread) * noise)
    return Line(np.asarray(value, np.float64), sd, correlation)


def block_means(rows: Array, moving: NDArray[np.bool_], width: int) -> Array:
    """Means of whole blocks of moving samples with all rows known, shape (rows, blocks)."""
    whole = rows.shape[1] // width * width
    cut = rows[:, :whole].reshape(rows.shape[0], -1, width)
    fine = moving[:whole].reshape(-1, width).all(axis=1)
    with np.errstate(invalid="ignore"):
        count = np.isfinite(cut).sum(axis=2)
        mean = np.where(np.isfinite(cut), cut, 0.0).sum(axis=2) / np.maximum(count, 1)
    mean[count == 0] = np.nan
    return np.asarray(mean[:, fine])


def judge_sources(stretches: list[tuple[Measurements, Array]], names: Collection[str]) -> Verdict:
    """Hold speed, yaw rate or accelerations against a reference motion.

    Parameters
    ----------
    stretches
        Measurements and the smoothed states (n, 10) of the reference.
    names
        The sources to judge.
    """
    blocks = np.concatenate([_blocks(m, state) for m, state in stretches], axis=1)
    path_a, path_n, speed, turn = blocks[:4]
    corrections: dict[str, Correction] = {}
    not_used: dict[str, str] = {}
    angle: float | None = None
    angle_sd: float | None = None
    if "speed" in names:
        _judge_speed(blocks[4], speed, corrections, not_used)
    if "yaw_rate" in names:
        _judge_yaw_rate(blocks[5], turn, corrections, not_used)
    if not {"acceleration_forward", "acceleration_left"}.isdisjoint(names):
        angle, angle_sd = _judge_accelerations(
            blocks[6], blocks[7], path_a, path_n, corrections, not_used
        )
    return Verdict(corrections, not_used, angle, angle_sd)


def judge_standing(m: Measurements) -> Verdict:
    """Offset of the yaw rate where the car stands, for want of positions."""
    still = m.values[mk.AT_SPEED] < STILL
    turn = m.values[mk.AT_YAW_RATE][still & np.isfinite(m.values[mk.AT_YAW_RATE])]
    if turn.size * m.step < STILL_S:
        return Verdict()
    pieces = np.array([p.mean() for p in np.array_split(turn, 10)])
    sd = max(float(pieces.std() / 3.0), 1e-4)
    return Verdict({"yaw_rate": Correction(float(np.median(turn)), sd)})


def _blocks(m: Measurements, state: Array) -> Array:
    """Block means: path acceleration, lateral, speed, turn rate, then the measured four."""
    v, a, k = state[:, mk.SPEED], state[:, mk.ACCELERATION], state[:, mk.CURVATURE]
    rows = np.stack([a, k * v**2, v, k * v, *m.values[mk.AT_SPEED : mk.AT_DIRECTION]])
    return block_means(rows, v > 5.0, max(round(BLOCK_S / m.step), 1))


def _judge_speed(
    measured: Array, speed: Array, found: dict[str, Correction], refused: dict[str, str]
) -> None:
    line = fit_line(speed[:, None], measured)
    if line is None:
        return
    slope, sd = float(line.value[0]), float(line.sd[0])
    if not SPEED_SLOPES[0] <= slope <= SPEED_SLOPES[1]:
        refused["speed"] = f"reads {slope:.3g} times the speed of the positions"
    elif abs(slope - 1.0) > max(3.0 * sd, 0.002):
        found["speed"] = Correction(0.0, 0.0, slope, sd)


def _judge_yaw_rate(
    measured: Array, turn: Array, found: dict[str, Correction], refused: dict[str, str]
) -> None:
    line = fit_line(np.stack([np.ones_like(turn), turn], axis=1), measured)
    if line is None:
        return
    if not _agrees(line, 1):
        refused["yaw_rate"] = _reason(line, 1, "the turn rate of the path")
        return
    found["yaw_rate"] = Correction(float(line.value[0]), float(line.sd[0]))


def _judge_accelerations(
    forward: Array,
    left: Array,
    path_a: Array,
    path_n: Array,
    found: dict[str, Correction],
    refused: dict[str, str],
) -> tuple[float | None, float | None]:
    one = np.ones_like(path_a)
    # sideslip turns lateral acceleration into the forward axis the same way in either turn
    f = fit_line(np.stack([one, path_a, path_n, path_n**2], axis=1), forward)
    n = fit_line(np.stack([one, path_a, path_n], axis=1), left)
    if f is None or n is None:
        _judge_alone(f, 1, "acceleration_forward", "the change of speed", found, refused)
        _judge_alone(n, 2, "acceleration_left", "speed times turn rate", found, refused)
        return None, None
    # measured = scale * rotation(angle) * path
    c = f.value[1] / f.sd[1] ** 2 + n.value[2] / n.sd[2] ** 2
    c /= 1.0 / f.sd[1] ** 2 + 1.0 / n.sd[2] ** 2
    s = f.value[2] / f.sd[2] ** 2 - n.value[1] / n.sd[1] ** 2
    s /= 1.0 / f.sd[2] ** 2 + 1.0 / n.sd[1] ** 2
    angle = float(np.arctan2(s, c))
    angle_sd = float(1.0 / np.sqrt(1.0 / f.sd[2] ** 2 + 1.0 / n.sd[1] ** 2) / np.hypot(c, s))
    # parts that do not fit one rotation show as slopes off 1 after turning back
    turned_f, turned_n = turn_back(forward, left, angle)
    if abs(angle) < max(SMALLEST_ANGLE, 3.0 * angle_sd):
        turned_f, turned_n = forward, left
    f = fit_line(np.stack([one, path_a, path_n, path_n**2], axis=1), turned_f)
    n = fit_line(np.stack([one, path_a, path_n], axis=1), turned_n)
    _judge_alone(f, 1, "acceleration_forward", "the change of speed", found, refused)
    _judge_alone(n, 2, "acceleration_left", "speed times turn rate", found, refused)
    if refused.keys() & {"acceleration_forward", "acceleration_left"}:
        return None, None
    return angle, angle_sd


def turn_back(forward: Array, left: Array, angle: float) -> tuple[Array, Array]:
    """Accelerations along the path's axes from those of axes rotated left by ``angle``."""
    c, s = np.cos(angle), np.sin(angle)
    return c * forward - s * left, s * forward + c * left


def _judge_alone(
    line: Line | None,
    which: int,
    name: str,
    against: str,
    found: dict[str, Correction],
    refused: dict[str, str],
) -> None:
    if line is None:
        return
    if _agrees(line, which):
        found[name] = Correction(float(line.value[0]), float(line.sd[0]))
    else:
        refused[name] = _reason(line, which, against)


def _agrees(line: Line, which: int) -> bool:
    slope, sd = float(line.value[which]), float(line.sd[which])
    # a slope that the data leave open is no contradiction
    near = SLOPES[0] - 2.0 * sd <= slope <= SLOPES[1] + 2.0 * sd
    return near and line.correlation > LOWEST_CORRELATION


def _reason(line: Line, which: int, against: str) -> str:
    return (
        f"slope {line.value[which]:.2f} ± {line.sd[which]:.2f} against {against}, "
        f"correlation {line.correlation:.2f}"
    )
