"""Which wheels run on which kerb or patch, how deep and how long, and whether more of it helps.

What helps is looked for over the laps: the corner's time against how far onto the kerb the
wheels went, by a parabola, with the trend of the laps taken out. Nothing is claimed unless
such an agreement would come by chance in fewer than one session in twenty, over all kerbs of
the session together (Holm's correction). It is an agreement over laps, not a proof of cause.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as f_distribution

from lapwright.driving.passes import CornerPass
from lapwright.driving.track_limits import WHEELS, Wheels, find_wheels
from lapwright.errors import UsageError
from lapwright.model.car import Measured
from lapwright.model.circuit import Circuit, Corner, RoadSpan
from lapwright.model.lap import Lap, Trace, knows_line

Array = NDArray[np.float64]
Verdict = Literal["helps", "costs", "best at", "no effect shown", "not enough laps"]

#: Fewer laps than this, or all equally deep, tell nothing of what a kerb is worth.
LEAST_LAPS: Final = 8
LEAST_RANGE_M: Final = 0.1
#: Chance in a session without any effect that something is claimed.
FALSE_CLAIMS: Final = 0.04
#: A best depth is named where its interval (90 %) is no wider than this share of the kerb.
WIDEST_SHARE: Final = 0.5
#: What each use is held against, and whether more of it is better.
MEASURES: Final = ("corner_time_s", "minimum_speed_mps", "corrections", "shake_mps2")
#: How far before and after a corner a kerb still belongs to it, m.
NEAR_M: Final = 40.0
#: More than any car is long, m.
AROUND_M: Final = 10.0
RESAMPLES: Final = 200
SHUFFLES: Final = 9999


@dataclass(frozen=True, slots=True)
class SpanUse:
    """One lap on one kerb or patch.

    Parameters
    ----------
    wheels
        Those that touched it.
    depth_m
        How far the outermost contact patch reached beyond the span's inner side at most, no
        further than its outer side; 0 where no wheel touched it.
    length_m, duration_s
        For how long at least one wheel was on it.
    shake_mps2
        Root mean square of the vertical acceleration about its mean meanwhile; None where
        it was not logged.
    """

    span: str
    corner: str | None
    lap: str
    wheels: tuple[str, ...]
    depth_m: float
    length_m: float
    duration_s: float
    shake_mps2: float | None = None


@dataclass(frozen=True, slots=True)
class KerbEffect:
    """What the depth on one kerb does to one measure of its corner, over the laps.

    Parameters
    ----------
    verdict
        ``best at``: between the depths driven; ``helps`` and ``costs``: more of it, over
        all depths driven.
    best_m, best_low_m, best_high_m
        Best depth with its 90 % interval; None unless ``best at``.
    from_m, to_m
        Depths driven.
    worth
        How much better the best depth is than the worst driven, in the measure's unit.
    chance
        That laps without any effect agree as well (after correction for all kerbs).
    """

    span: str
    corner: str
    measure: str
    verdict: Verdict
    laps: tuple[str, ...]
    from_m: float
    to_m: float
    width_m: float
    best_m: float | None = None
    best_low_m: float | None = None
    best_high_m: float | None = None
    worth: float | None = None
    chance: float = 1.0


def find_span_uses(
    circuit: Circuit,
    laps: Sequence[Lap],
    car: Measured | None,
    up: Mapping[str, Trace] | None = None,
) -> tuple[SpanUse, ...]:
    """Find every lap's use of every kerb and patch.

    Parameters
    ----------
    up
        Vertical acceleration by lap id, where it was logged.

    Returns
    -------
    Empty where the car's measures or the line are not known, or the edges not surveyed.
    """
    spans = [span for span in circuit.spans if span.kind in ("kerb", "patch")]
    if car is None or not spans or not circuit.surveyed:
        return ()
    out = []
    for lap in laps:
        if not lap.used or lap.track is None or not knows_line(lap.track.n_sd):
            continue
        try:
            wheels = find_wheels(circuit, lap.track, car)
        except UsageError:
            return ()
        shake = (up or {}).get(lap.id)
        out += [_use(circuit, span, lap, _near(circuit, span, wheels), shake) for span in spans]
    return tuple(out)


def find_kerb_effects(
    circuit: Circuit, laps: Sequence[Lap], uses: Sequence[SpanUse], passes: Sequence[CornerPass],
    corrections: Mapping[tuple[str, str], float] | None = None,
) -> tuple[KerbEffect, ...]:  # fmt: skip
    """Find for each kerb of a corner whether more of it helps, and up to where.

    Parameters
    ----------
    corrections
        Corrections of the steering by (corner, lap), where the wheel was logged.
    """
    order = {lap.id: k for k, lap in enumerate(laps)}
    times = {(p.corner, p.lap): p for p in passes}
    found: list[KerbEffect] = []
    for span in circuit.spans:
        own = [u for u in uses if u.span == span.name and (u.corner, u.lap) in times]
        if span.kind != "kerb" or not own or own[0].corner is None:
            continue
        width = span.left_m - span.right_m
        for measure in MEASURES:
            rows = [
                (u, v)
                for u in own
                if (v := _measure(u, times, measure, corrections or {})) is not None
            ]
            if rows:
                found.append(_effect(span.name, width, measure, rows, order))
    return _correct(found)


def _near(circuit: Circuit, span: RoadSpan, wheels: Wheels) -> Wheels:
    """Keep the rows of a lap that come near a span: all others touch nothing of it."""
    first, last = span.start_m - AROUND_M, span.end_m + AROUND_M
    if not 0.0 <= first < last <= circuit.length_m:  # over the start line
        return wheels
    rows = (wheels.s[:, 0] >= first) & (wheels.s[:, 0] <= last)
    if np.count_nonzero(rows) < 2:
        return wheels
    return replace(
        wheels, time=wheels.time[rows], s=wheels.s[rows], n=wheels.n[rows], n_sd=wheels.n_sd[rows]
    )


def _use(
    circuit: Circuit, span: RoadSpan, lap: Lap, wheels: Wheels, shake: Trace | None
) -> SpanUse:
    """Find how one lap used one span."""
    length = circuit.length_m
    along = np.mod(wheels.s - span.start_m, length) <= np.mod(span.end_m - span.start_m, length)
    along &= (wheels.s >= 0.0) & (wheels.s < length)  # not the lap before or after
    from_right = wheels.n + wheels.half_patch_m - span.right_m
    from_left = span.left_m - wheels.n + wheels.half_patch_m
    touching = along & (from_right > 0) & (from_left > 0)
    if span.left_m * span.right_m < 0:  # across the middle of the road: from its nearer side
        into = np.minimum(from_right, from_left)
    else:
        into = from_right if span.right_m >= 0 else from_left
    on = touching.any(axis=1)
    depth = float(np.where(along, into, 0.0).max(initial=0.0))
    depth = min(depth, span.left_m - span.right_m)
    step = np.gradient(wheels.time)
    middle = wheels.s.mean(axis=1)
    return SpanUse(
        span.name,
        _corner_of(circuit, span),
        lap.id,
        tuple(name for k, name in enumerate(WHEELS) if touching[:, k].any()),
        depth,
        float(np.gradient(middle)[on].sum()),
        float(step[on].sum()),
        _shake(wheels.time[on], shake),
    )


def _shake(time: Array, up: Trace | None) -> float | None:
    """Root mean square of vertical acceleration about its mean while on the span."""
    if up is None or time.size < 3:
        return None
    inside = (up.time >= time[0]) & (up.time <= time[-1])
    return float(np.std(up.values[inside])) if inside.sum() >= 5 else None


def _corner_of(circuit: Circuit, span: RoadSpan) -> str | None:
    """Corner whose stretch, carried on a little, holds the span's middle."""
    length = circuit.length_m
    middle = span.start_m + 0.5 * ((span.end_m - span.start_m) % length)

    def off(corner: Corner) -> float:
        reach = (corner.end_m - corner.start_m) % length + 2 * NEAR_M
        inside = (middle - corner.start_m + NEAR_M) % length <= reach
        away = abs((middle - corner.apex_m + length / 2) % length - length / 2)
        return away if inside else np.inf

    best = min(circuit.corners, key=off, default=None)
    return best.id if best is not None and np.isfinite(off(best)) else None


def _measure(
    use: SpanUse, passes: Mapping[tuple[str, str], CornerPass], measure: str,
    corrections: Mapping[tuple[str, str], float],
) -> float | None:  # fmt: skip
    key = (use.corner or "", use.lap)
    if measure == "shake_mps2":
        return use.shake_mps2
    return corrections.get(key) if measure == "corrections" else passes[key].actions.get(measure)


def _effect(
    span: str, width: float, measure: str, rows: Sequence[tuple[SpanUse, float]],
    order: Mapping[str, int],
) -> KerbEffect:  # fmt: skip
    """Hold one measure against the depth on one kerb."""
    depth = np.array([use.depth_m for use, _ in rows])
    value = np.array([v for _, v in rows])
    trend = np.array([float(order[use.lap]) for use, _ in rows])
    corner, ids = rows[0][0].corner or "", tuple(use.lap for use, _ in rows)
    low, high = float(depth.min()), float(depth.max())
    base = KerbEffect(span, corner, measure, "not enough laps", ids, low, high, width)
    if depth.size < LEAST_LAPS or high - low < LEAST_RANGE_M:
        return base
    sign = -1.0 if measure == "minimum_speed_mps" else 1.0  # of a cost
    return _judge(base, depth, sign * value, trend)


def _judge(base: KerbEffect, depth: Array, cost: Array, trend: Array) -> KerbEffect:
    """Fit cost = a + b d + c d² + trend; tell a best depth from more being better or worse."""
    chance = _chance(depth, cost, trend)
    if chance > FALSE_CLAIMS:
        return replace(base, verdict="no effect shown", chance=chance)
    b, c = _parabola(depth, cost, trend)
    grid = np.linspace(base.from_m, base.to_m, 101)
    curve = b * grid + c * grid * grid
    worth = float(np.ptp(curve))
    best = float(grid[np.argmin(curve)])
    inside = c > 0 and base.from_m < -b / (2 * c) < base.to_m
    verdict: Verdict = "best at" if inside else ("helps" if best > grid[50] else "costs")
    low = high = None
    if inside:
        low, high = _interval(depth, cost, trend, base.from_m, base.to_m)
        if high - low > WIDEST_SHARE * base.width_m:
            slope = curve[-1] - curve[0]
            verdict = "helps" if slope < 0 else "costs"
    named = verdict == "best at"
    return replace(
        base, verdict=verdict, best_m=best if named else None, best_low_m=low if named else None,
        best_high_m=high if named else None, worth=worth, chance=chance,
    )  # fmt: skip


def _columns(depth: Array, trend: Array) -> Array:
    """Columns of the fit: one, the lap's number, depth and its square."""
    d, t = depth - depth.mean(), trend - trend.mean()
    return np.column_stack([np.ones(d.size), t, d, d * d])


def _chance(depth: Array, cost: Array, trend: Array) -> float:
    """Chance that laps without an effect of depth agree as well.

    F test of both columns of depth; where it is small, the larger of it and the share of
    shuffled residuals about the trend that agree as well (Freedman and Lane 1983), which
    needs no normal scatter.
    """
    rows, spare = _columns(depth, trend), depth.size - 4
    full, bare = _off(rows), _off(rows[:, :2])

    def ratio(values: Array) -> Array:
        left = np.sum((full @ values) ** 2, axis=0)
        gain = np.sum((bare @ values) ** 2, axis=0) / np.maximum(left, 1e-300)
        return np.asarray((gain - 1) * spare / 2)

    seen = float(ratio(cost[:, None])[0])
    chance = float(f_distribution.sf(seen, 2, spare))
    if chance > FALSE_CLAIMS:
        return chance
    rng = np.random.default_rng(19)
    shuffled = rng.permuted(np.tile(bare @ cost, (SHUFFLES, 1)), axis=1).T
    return max(chance, float((1 + np.sum(ratio(shuffled) >= seen)) / (1 + SHUFFLES)))


def _off(rows: Array) -> Array:
    """Matrix that leaves what the columns do not explain."""
    base, _ = np.linalg.qr(rows)
    return np.asarray(np.eye(rows.shape[0]) - base @ base.T)


def _parabola(depth: Array, cost: Array, trend: Array) -> tuple[float, float]:
    """Coefficients of depth and of its square, about zero depth."""
    beta = np.linalg.lstsq(_columns(depth, trend), cost, rcond=None)[0]
    return float(beta[2] - 2 * beta[3] * depth.mean()), float(beta[3])


def _interval(
    depth: Array, cost: Array, trend: Array, first: float, last: float
) -> tuple[float, float]:
    """90 % interval of the best depth, by drawing laps anew."""
    rng = np.random.default_rng(20)
    found = []
    for _ in range(RESAMPLES):
        pick = rng.integers(0, depth.size, depth.size)
        b, c = _parabola(depth[pick], cost[pick], trend[pick])
        ends = (b * first + c * first**2, b * last + c * last**2)
        edge = first if ends[0] < ends[1] else last
        found.append(float(np.clip(-b / (2 * c), first, last)) if c > 0 else edge)
    low, high = np.quantile(found, (0.05, 0.95))
    return float(low), float(high)


def _correct(found: Sequence[KerbEffect]) -> tuple[KerbEffect, ...]:
    """Take back what chance alone may show, over all kerbs and measures together (Holm)."""
    tested = sorted(
        (k for k, e in enumerate(found) if e.verdict != "not enough laps"),
        key=lambda k: found[k].chance,
    )
    out, holds = list(found), True
    for rank, k in enumerate(tested):
        chance = min(found[k].chance * (len(tested) - rank), 1.0)
        holds = holds and chance <= FALSE_CLAIMS
        out[k] = _with_chance(found[k], chance, holds)
    return tuple(out)


def _with_chance(effect: KerbEffect, chance: float, holds: bool) -> KerbEffect:
    if holds:
        return replace(effect, chance=chance)
    return replace(
        effect, verdict="no effect shown", best_m=None, best_low_m=None, best_high_m=None,
        worth=None, chance=chance,
    )  # fmt: skip
