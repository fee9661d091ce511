"""What is possible, as it stands in ``guide.json`` and in the pictures."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lapwright.guide.document import Findings
from lapwright.model.car import Car, Limit
from lapwright.model.circuit import Corner
from lapwright.physics.drive import resistance
from lapwright.physics.grip import limit_at
from lapwright.physics.load import downhill_pull
from lapwright.possible.what import Estimate, WhatIsPossible
from lapwright.possible.worth import RoadWorth

Array = NDArray[np.float64]

NOT_ASKED: Final = "not worked out for this guide"
_PARTS: Final = ("entry", "apex", "exit")
_DIRECTIONS: Final = ("lateral", "brake", "drive")
#: Points that a panel of the envelope shows: the highest of each step of speed.
_STEP_MPS, _HIGHEST, _SPEEDS = 1.5, 6, 25


def find_car(findings: Findings) -> Car | None:
    """Return the car that was given or found; None without one."""
    what = findings.possible
    return what.car if what else None


def why_null(findings: Findings) -> str | None:
    """Say why there is no fastest line; None where there is one."""
    what = findings.possible
    if what is None:
        return NOT_ASKED
    return what.why_null or None


def compose_car(findings: Findings) -> dict[str, Any] | None:
    """Compose the car with its intervals and the speeds that support it."""
    car = find_car(findings)
    if car is None:
        return None
    return {
        "power_per_mass": _with_interval(car, "power_per_mass", car.power_per_mass, "W/kg"),
        "drag_per_mass": _with_interval(car, "drag_per_mass", car.drag_per_mass, "1/m"),
        "grip": {name: _grip_rows(car, name) for name in _DIRECTIONS},
        "shown": {
            name: {"speed_mps": v, "value": _level(getattr(car, name), v, car)}
            for name in ("lateral", "brake")
            for v in [car.middle_speed(name)]
            if name in car.support
        },
        "conditions": _conditions(findings),
        "combined_exponent": _with_interval(car, "exponent", car.exponent, "1"),
        "shown_by": car.shown_by or _shown_by(findings),
    }


def compose_possible(findings: Findings) -> dict[str, Any]:
    """Compose the lap times that are possible, with the solver's report."""
    what, own = findings.possible, findings.own_best_corners_s
    return {
        "own_best_corners_s": None if own is None else {"value": own, "low": None, "high": None},
        "on_line_s": _estimate(what.on_line_s if what else None),
        "on_fastest_line_s": _estimate(what.on_fastest_line_s if what else None),
        "margin_m": what.fastest.margin_m if what and what.fastest else None,
        "solver": _solver(what),
        "why_null": why_null(findings),
    }


def compose_corner_possible(findings: Findings, corner: Corner) -> dict[str, Any]:
    """Compose a corner's road worth, flat margin and load, each null with its reason."""
    what, reason = findings.possible, why_null(findings)
    worths = {w.zone.part: w for w in what.worths if w.zone.corner == corner.id} if what else {}
    margin = next((m for m in what.margins if m.corner == corner.id), None) if what else None
    load = next((m for m in what.loads if m.corner == corner.id), None) if what else None
    no_heights = None if findings.circuit.has_heights else "no heights were given"
    return {
        "road_worth": {
            **{part: _worth(worths.get(part)) for part in _PARTS},
            "why_null": None if worths else reason or NOT_ASKED,
        },
        "flat_margin": None
        if margin is None
        else {"value": margin.margin, "low": margin.low, "high": margin.high},
        "flat_margin_why_null": None if margin else reason or NOT_ASKED,
        "load": None
        if load is None
        else {"max_share": load.max_share, "min_share": load.min_share},
        "load_why_null": None if load else no_heights or reason or NOT_ASKED,
    }


def compose_line_picture(findings: Findings, points: int) -> dict[str, Any] | None:
    """Sample the fastest line, its worth on both sides and the load on the pictures' grid."""
    what, circuit = findings.possible, findings.circuit
    if what is None or what.fastest is None:
        return None
    line = what.fastest
    place = np.arange(points) * (circuit.length_m / points)

    def sample(values: Array) -> Array:
        return np.asarray(np.interp(place, line.s, values, period=circuit.length_m))

    return {
        "n": sample(line.n),
        "speed": sample(line.v),
        "worth_left": np.maximum(sample(line.left_worth), 0.0),
        "worth_right": np.maximum(sample(line.right_worth), 0.0),
        "load": None if what.load is None else sample(what.load),
    }


def compose_envelope_picture(findings: Findings) -> dict[str, Any] | None:
    """Compose the limits over speed, with the laps' own highest accelerations."""
    car = find_car(findings)
    if car is None:
        return None
    speed, forward, left = _driven(findings, car)
    points = {"lateral": np.abs(left), "brake": -forward, "drive": forward}
    out: dict[str, Any] = {}
    for name in _DIRECTIONS:
        rows = _grip_rows(car, name)
        out[name] = {
            "speed": [r["speed_mps"] for r in rows],
            "value": [r["value"] for r in rows],
            "low": [r["low"] for r in rows],
            "high": [r["high"] for r in rows],
            "supported": [r["supported"] for r in rows],
            "points": _highest(speed, points[name]),
        }
    return out


def _driven(findings: Findings, car: Car) -> tuple[Array, Array, Array]:
    """Speed, and what the tyres gave forward and to the left: air, rolling and slope taken out."""
    tracks = [lap.track for lap in findings.laps if lap.used and lap.track is not None]
    columns = ("s", "speed", "acceleration_forward", "acceleration_left")
    s, speed, forward, left = (np.concatenate([getattr(t, c) for t in tracks]) for c in columns)
    circuit = findings.circuit
    slope = np.interp(s, circuit.s, circuit.slope, period=circuit.length_m)
    slowed = resistance(car.drag_per_mass, car.rolling, speed, car.gravity)
    return speed, forward + slowed + downhill_pull(slope, car.gravity), left


def _highest(speed: Array, values: Array) -> list[list[float]]:
    box = (speed / _STEP_MPS).astype(int)
    out: list[list[float]] = []
    for step in np.unique(box[speed > 3.0]):
        inside = np.flatnonzero(box == step)
        top = inside[np.argsort(values[inside])[-_HIGHEST:]]
        out += [[float(speed[i]), float(values[i])] for i in top if values[i] > 0]
    return out


def _conditions(findings: Findings) -> list[dict[str, Any]]:
    """Grip and drag of each lap against the middle one; empty for a car that was given."""
    what = findings.possible
    return [
        {"lap": c.lap, "grip": c.grip, "drag": c.drag}
        for c in (what.fit.conditions if what and what.fit else ())
    ]


def _grip_rows(car: Car, name: str) -> list[dict[str, Any]]:
    """Rows of one limit over the speeds driven, on the level, with its interval."""
    limit: Limit = getattr(car, name)
    low, high = (_limit_at_end(car, name, limit, end) for end in (0, 1))
    shown = car.support.get(name)
    fastest = max((high_v for _, high_v in car.support.values()), default=60.0)
    return [
        {
            "speed_mps": float(v),
            "value": _level(limit, v, car),
            "low": _level(low, v, car),
            "high": _level(high, v, car),
            "supported": bool(shown and shown[0] <= v <= shown[1]),
        }
        for v in np.linspace(5.0, fastest, _SPEEDS)
    ]


def _limit_at_end(car: Car, name: str, limit: Limit, end: int) -> Limit:
    def value(part: str, middle: float) -> float:
        return car.intervals.get(f"{name}.{part}", (middle, middle))[end]

    if name in car.intervals and "lateral" in car.support:  # of the whole limit, see `Car`
        now = _level(limit, car.middle_speed(name), car)
        return limit.scaled(car.intervals[name][end] / now, 1.0)

    return Limit(value("at_rest", limit.at_rest), value("per_v2", limit.per_v2), limit.per_load)


def _level(limit: Limit, v: float, car: Car) -> float:
    return float(limit_at(limit.at_rest, limit.per_v2, limit.per_load, v, car.gravity, car.gravity))


def _with_interval(car: Car, name: str, value: float, unit: str) -> dict[str, Any]:
    low, high = car.intervals.get(name, (None, None))
    return {"value": value if np.isfinite(value) else None, "low": low, "high": high, "unit": unit}


def _shown_by(findings: Findings) -> str:
    used = [lap.id for lap in findings.laps if lap.used]
    names = ", ".join(findings.session.drivers) or "the driver"
    return f"{names}, {len(used)} laps"


def _estimate(one: Estimate | None) -> dict[str, float] | None:
    return None if one is None else {"value": one.value, "low": one.low, "high": one.high}


def _solver(what: WhatIsPossible | None) -> dict[str, Any] | None:
    if what is None or what.fastest is None:
        return None
    report = what.fastest.report
    return {
        "converged": report.solver.converged,
        "iterations": report.solver.iterations,
        "kkt": report.kkt,
        "mesh_m": report.mesh_m,
        "seconds": report.seconds,
    }


def _worth(one: RoadWorth | None) -> dict[str, Any] | None:
    if one is None:
        return None
    return {
        "s_per_m": one.s_per_m,
        "unused_m": one.unused_m,
        "unused_worth_s": one.unused_worth_s,
        "side": one.zone.side,
    }
