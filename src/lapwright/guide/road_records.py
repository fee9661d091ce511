"""Road use, kerbs and track limits, as they stand in ``guide.json``."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from lapwright.driving.kerb_use import KerbEffect, SpanUse
from lapwright.driving.road_use import EDGES, RoadUse, Worth, find_road_use
from lapwright.driving.track_limits import TrackLimits
from lapwright.guide.document import Findings
from lapwright.model.circuit import Corner
from lapwright.model.lap import Lap

NOT_ASKED: Final = "not worked out for this guide"
_NO_MEASURES: Final = "the car's width, wheelbase and track are not given"
_NO_KERBS: Final = "no kerbs or patches are known here"


def compose_track_limits(findings: Findings, lap: Lap) -> dict[str, Any]:
    """Compose a lap's track limits under the rule chosen, or null and why."""
    limits: TrackLimits | None = findings.track_limits.get(lap.id)
    if limits is None or limits.breaches is None:
        why = limits.why_null if limits else NOT_ASKED
        return {"track_limits": None, "track_limits_why_null": why}
    rows = [
        {
            "side": b.side, "start_m": b.start_m, "end_m": b.end_m, "corner": b.corner,
            "duration_s": b.duration_s, "by_m": b.by_m, "sd_m": b.sd_m, "sure": b.sure,
        }
        for b in limits.breaches
    ]  # fmt: skip
    return {
        "track_limits": {"rule": limits.rule, "breaches": rows},
        "track_limits_why_null": None,
    }


def list_road_use(findings: Findings, corner: Corner) -> tuple[RoadUse, ...]:
    """List the road left in a corner, with what it is worth where that was worked out."""
    summary, what, car = findings.summaries.get(corner.id), findings.possible, findings.measured
    if summary is None or not findings.circuit.surveyed:
        return ()
    found = what.worths if what else ()
    worths = {
        w.zone.part: Worth(w.s_per_m, w.unused_worth_s) for w in found if w.zone.corner == corner.id
    }
    return find_road_use(summary, car.width_m if car else 0.0, worths)


def compose_corner_road(findings: Findings, corner: Corner) -> dict[str, Any]:
    """Compose the road left and the use of kerbs in a corner, null with the reason."""
    parts = {use.part: use for use in list_road_use(findings, corner)}
    uses = [use for use in findings.span_uses if use.corner == corner.id]
    why = None if parts else "the edges were not surveyed or the line is not known"
    return {
        "road_use": {part: _use(parts.get(part)) for part in EDGES} | {"why_null": why},
        "kerbs": [
            _span(span, [u for u in uses if u.span == span], findings.kerb_effects)
            for span in dict.fromkeys(use.span for use in uses)
        ],
        "kerbs_why_empty": None if uses else _why_no_kerbs(findings),
    }


def _why_no_kerbs(findings: Findings) -> str:
    car = findings.measured
    if car is None or not min(car.width_m, car.wheelbase_m, car.track_m) > 0:
        return _NO_MEASURES
    return _NO_KERBS


def _use(one: RoadUse | None) -> dict[str, Any] | None:
    if one is None:
        return None
    return {
        "left_m": one.left_m, "spread_m": one.spread_m, "laps": one.laps, "side": one.side,
        "worth_s": one.worth_s, "verdict": one.verdict,
    }  # fmt: skip


def _span(name: str, uses: Sequence[SpanUse], effects: Sequence[KerbEffect]) -> dict[str, Any]:
    return {
        "name": name,
        "uses": [
            {
                "lap": u.lap, "wheels": list(u.wheels), "depth_m": u.depth_m,
                "length_m": u.length_m, "duration_s": u.duration_s, "shake_mps2": u.shake_mps2,
            }
            for u in uses
        ],
        "effects": [_effect(e) for e in effects if e.span == name],
    }  # fmt: skip


def _effect(one: KerbEffect) -> dict[str, Any]:
    return {
        "measure": one.measure, "verdict": one.verdict, "laps": list(one.laps),
        "from_m": one.from_m, "to_m": one.to_m, "width_m": one.width_m, "best_m": one.best_m,
        "best_low_m": one.best_low_m, "best_high_m": one.best_high_m, "worth": one.worth,
        "chance": one.chance,
    }  # fmt: skip
