"""The hands in each corner: how much they turn, how often they correct, how foreseeable they are.

Angles are those of the logged wheel in rad; nothing is said without one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.passes import CornerPass
from lapwright.driving.window import Window, open_window
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap

Array = NDArray[np.float64]

#: Hands are looked at so many times a second; a wheel's noise is averaged out between, Hz.
RATE_HZ = 20.0
#: A turn of the wheel back by less than this share of the lap's largest angle is no correction,
#: nor is one of less than `LEAST_GAP_RAD` (2°, usual for steering reversals, from memory).
GAP_SHARE, LEAST_GAP_RAD = 0.04, 0.035
#: Steering entropy: samples so far apart, s, and the share of errors within ± alpha.
ENTROPY_STEP_S, WITHIN = 0.15, 0.90
#: Bounds of the nine bins in alpha.
BINS = (-5.0, -2.5, -1.0, -0.5, 0.5, 1.0, 2.5, 5.0)
#: Fewer prediction errors than this give no entropy.
LEAST_ERRORS = 12


@dataclass(frozen=True, slots=True)
class Hands:
    """The hands of one lap in one corner.

    Parameters
    ----------
    total_rad
        All turning of the wheel, there and back.
    corrections
        How often the wheel was turned back against its way and on again.
    entropy
        Steering entropy, 0 (as foreseen) to 1; None where the corner is too short.
    """

    corner: str
    lap: str
    total_rad: float
    corrections: int
    entropy: float | None


@dataclass(frozen=True, slots=True)
class HandsSummary:
    """The hands in a corner over the laps that have a wheel; medians, and which laps.

    ``why_null`` says what is missing where there is none.
    """

    corner: str
    laps: tuple[str, ...] = ()
    total_rad: float | None = None
    corrections: float | None = None
    entropy: float | None = None
    why_null: str | None = None


def find_hands(
    circuit: Circuit, laps: Sequence[Lap], passes: Sequence[CornerPass]
) -> tuple[Hands, ...]:
    """Measure the hands of every pass that has a steering channel, from corner start to end."""
    seen = {(p.corner, p.lap) for p in passes}
    out: list[Hands] = []
    for i, corner in enumerate(circuit.corners):
        after = circuit.corners[(i + 1) % len(circuit.corners)]
        rows = []
        for lap in laps:
            if (corner.id, lap.id) in seen and "steering" in lap.traces:
                window = open_window(lap, circuit, corner, circuit.corners[i - 1], after)
                if window is not None:
                    rows.append(window)
        out.extend(_hands_of(rows))
    return tuple(out)


def _hands_of(windows: Sequence[Window]) -> list[Hands]:
    wheels = [take_wheel(w, 1.0 / RATE_HZ) for w in windows]
    errors = [predict_errors(take_wheel(w, ENTROPY_STEP_S)) for w in windows]
    alpha = find_alpha(np.concatenate(errors)) if errors else 0.0
    out = []
    for window, wheel, error in zip(windows, wheels, errors, strict=True):
        gap = max(GAP_SHARE * _largest(window), LEAST_GAP_RAD)
        out.append(
            Hands(
                window.corner.id,
                window.lap.id,
                float(np.abs(np.diff(wheel)).sum()),
                max(count_reversals(wheel, gap) - 1, 0),  # turning in and back is one reversal
                steering_entropy(error, alpha) if error.size >= LEAST_ERRORS else None,
            )
        )
    return out


def _largest(window: Window) -> float:
    return float(np.quantile(np.abs(window.lap.traces["steering"].values), 0.995))


def take_wheel(window: Window, step_s: float) -> Array:
    """Return the wheel's angle at equal steps through the corner, averaged over a step, rad."""
    trace = window.lap.traces["steering"]
    edges = np.arange(window.start_s, window.end_s + step_s, step_s)
    turn = 0.5 * (trace.values[1:] + trace.values[:-1]) * np.diff(trace.time)
    total = np.interp(edges, trace.time, np.append(0.0, np.cumsum(turn)))
    return np.asarray(np.diff(total) / step_s)


def count_reversals(wheel: Array, gap: float) -> int:
    """Count changes of direction of at least ``gap`` (steering reversals by a gap, SAE J2944).

    Examples
    --------
    >>> count_reversals(np.array([0.0, 1.0, 0.9, 2.0, 0.0]), 0.5)
    1
    """
    count, way, edge = 0, 0, wheel[0] if wheel.size else 0.0
    for angle in wheel:
        if (way >= 0 and angle > edge) or (way <= 0 and angle < edge):
            edge, way = angle, way or (1 if angle > edge else -1)
        elif abs(angle - edge) >= gap:
            count += 1
            way, edge = -way, angle
    return count


def predict_errors(wheel: Array) -> Array:
    """Errors of foreseeing each angle from the three before it by a Taylor series, rad.

    θ̂ₙ = θₙ₋₁ + (θₙ₋₁ − θₙ₋₂) + ½ ((θₙ₋₁ − θₙ₋₂) − (θₙ₋₂ − θₙ₋₃)).
    """
    if wheel.size < 4:
        return np.zeros(0)
    a, b, c, now = wheel[2:-1], wheel[1:-2], wheel[:-3], wheel[3:]
    return np.asarray(now - (a + (a - b) + 0.5 * ((a - b) - (b - c))))


def find_alpha(errors: Array) -> float:
    """Bound within which `WITHIN` of the errors lie on both sides of 0, rad."""
    return float(np.quantile(np.abs(errors), WITHIN)) if errors.size else 0.0


def steering_entropy(errors: Array, alpha: float) -> float:
    """Steering entropy of prediction errors, 0 to 1.

    −Σ p log₉ p over nine bins bounded by ±½, ±1, ±2½ and ±5 α (Nakayama, Futami, Nakamura,
    Boer: Development of a steering entropy method for evaluating driver workload, SAE
    1999-01-0892; cited from memory). α comes from all of the driver's laps in the corner, so
    a lap with more entropy was steered less foreseeably than he usually does.
    """
    if alpha <= 0.0:
        return 0.0
    place = np.searchsorted(np.array(BINS) * alpha, errors)
    share = np.bincount(place, minlength=len(BINS) + 1) / errors.size
    there = share[share > 0]
    return float(-np.sum(there * np.log(there)) / np.log(len(BINS) + 1))


def summarise_hands(circuit: Circuit, hands: Sequence[Hands]) -> dict[str, HandsSummary]:
    """Take the median over laps, by corner id."""
    out = {}
    for corner in circuit.corners:
        own = [h for h in hands if h.corner == corner.id]
        entropies = [h.entropy for h in own if h.entropy is not None]
        out[corner.id] = (
            HandsSummary(
                corner.id,
                tuple(h.lap for h in own),
                float(np.median([h.total_rad for h in own])),
                float(np.mean([h.corrections for h in own])),
                float(np.median(entropies)) if entropies else None,
            )
            if own
            else HandsSummary(corner.id, why_null="no steering channel")
        )
    return out


def by_lap(hands: Sequence[Hands]) -> Mapping[tuple[str, str], Hands]:
    """Look hands up by corner and lap."""
    return {(h.corner, h.lap): h for h in hands}
