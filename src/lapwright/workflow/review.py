"""Other drivers' logs held against a guide: accounts, goals, what came of earlier goals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import numpy as np

from lapwright.driving.action_values import values_of
from lapwright.driving.actions import find_passes
from lapwright.driving.habits import find_habits
from lapwright.driving.ledger import find_ledger
from lapwright.driving.ledger_records import GUIDE_LAP, ON_LINE
from lapwright.driving.ledger_traces import build_traces
from lapwright.driving.review_goals import find_goals, find_level, mean_by_corner
from lapwright.errors import InputError, LapwrightError
from lapwright.guide.review_records import (
    LEAST_BY_ACTION,
    Reviewed,
    compose_alike,
    compose_driver,
    compose_sheet,
)
from lapwright.guide.review_since import compose_since
from lapwright.guide.unit_system import UnitSystem, units_as_view
from lapwright.messages import Message
from lapwright.model.car import Car, Limit
from lapwright.model.fit_car import fit_car
from lapwright.model.lap_findings import find_lap_messages
from lapwright.model.recording import Recording
from lapwright.publish.json import render_json
from lapwright.publish.review_page import render_review
from lapwright.workflow.accounts import take_motor, trace_own_lines
from lapwright.workflow.guide_directory import GuideDirectory, read_document, read_guide
from lapwright.workflow.outputs import Made
from lapwright.workflow.session import (
    DrivenSession,
    LogOptions,
    Progress,
    build_session,
    find_info,
    quiet,
    read_recordings,
)

SCHEMA: Final = "lapwright.review/1"
#: Laps whose middle lies so far from the middle of the road, m, are on another road.
OFF_ROAD_M: Final = 15.0


def make_review(
    logs: Sequence[Path],
    guide: Path,
    units: UnitSystem,
    *,
    options: LogOptions | None = None,
    since: Path | None = None,
    progress: Progress = quiet,
) -> Made:
    """Hold each log, one driver's, against a guide directory.

    Parameters
    ----------
    since
        Directory of an earlier review, whose goals are held against these laps.

    Raises
    ------
    InputError
        If a log or directory cannot be used, or a log is of another circuit.
    """
    base = read_guide(guide)
    earlier = read_document(since / "review.json", SCHEMA) if since is not None else None
    recordings = read_recordings(logs, options or LogOptions(), progress)
    sessions = [_build(r, base, progress) for r in recordings]
    names = _names(recordings)
    drivers = [
        review_driver(name, session, base, progress)
        for name, session in zip(names, sessions, strict=True)
    ]
    document = compose_review(drivers, base, units, earlier, recordings)
    files = {"review.json": render_json(document), "review.html": render_review(document)}
    found = [m for s in sessions for m in find_lap_messages(s.laps)]
    return Made(document, files, (*(m for r in recordings for m in r.messages), *found))


def review_driver(
    name: str, session: DrivenSession, base: GuideDirectory, progress: Progress = quiet
) -> Reviewed:
    """Account for one driver's laps against his best, the guide's lap and the possible."""
    progress(f"reviewing {name}", 0, 1)
    circuit, laps, car = session.circuit, session.laps, base.car
    passes = find_passes(circuit, laps)
    (lap,) = build_traces(circuit, [base.chosen])
    ids = [x.id for x in laps if x.used and x.track is not None]
    lines = trace_own_lines(circuit, laps, car)
    ledger = find_ledger(
        circuit, laps, passes, motor=take_motor(car),
        computed={ON_LINE: lines} if lines else {},
        driven={GUIDE_LAP: dict.fromkeys(ids, lap)},
    )  # fmt: skip
    habits = find_habits(ledger.accounts)
    held = [a for a in ledger.accounts if a.against == GUIDE_LAP]
    times = {s.corner.id: float(lap.time[s.last] - lap.time[s.first]) for s in ledger.stretches}
    costs = mean_by_corner(held)
    shown = _shown(base)
    goals = find_goals(
        [h for h in habits if h.against == GUIDE_LAP], held, passes, shown, LEAST_BY_ACTION,
        circuit.length_m,
    )  # fmt: skip
    day, why = compare_day(session, base)
    level = find_level({c: sum(x.values()) for c, x in costs.items()}, times)
    return Reviewed(
        name, laps, passes, ledger, habits, goals, costs, times,
        float(np.mean([a.straight_s for a in held])) if held else 0.0,
        float(np.mean([a.difference_s for a in held])) if held else 0.0, level, day, why,
    )  # fmt: skip


def compose_review(
    drivers: Sequence[Reviewed], base: GuideDirectory, units: UnitSystem,
    earlier: Mapping[str, Any] | None, recordings: Sequence[Recording],
) -> dict[str, Any]:  # fmt: skip
    """Compose ``review.json``."""
    view = units_as_view(units)
    system = view["systems"][view["chosen"]]
    said = [compose_driver(d, base.circuit, base.chosen, system) for d in drivers]
    since = None
    if earlier is not None:
        try:
            since = compose_since(earlier, drivers, base.circuit, system)
        except (AttributeError, KeyError, TypeError, ValueError) as error:
            found = f"its goals or costs are garbled ({error!s:.60})"
            to_do = "Give the directory of a review that lapwright wrote"
            raise InputError(
                [Message("refused", "review.json", found, "Nothing was reviewed", to_do)]
            ) from error
    car = base.document.get("car")
    return {
        "schema": SCHEMA,
        "made_by": {
            "program": "lapwright",
            "version": version("lapwright"),
            "inputs": [{"file": r.file, "sha256": r.sha256} for r in recordings],
        },
        "cautions": [str(text) for text in base.document.get("cautions", ())],
        "guide": {
            "circuit": base.circuit.name,
            "length_m": base.circuit.length_m,
            "lap": base.chosen.id,
            "driver": base.chosen.driver,
            "time_s": base.chosen.time_s,
            "car_shown_by": car.get("shown_by") if isinstance(car, Mapping) else None,
            "car_why_null": None if base.car else "The guide has no car, so nothing is computed.",
        },
        "drivers": said,
        "sheet": compose_sheet(drivers, base.circuit),
        "alike": compose_alike(drivers, base.circuit),
        "since": since,
        "since_why_null": None if since is not None else "No earlier review was given.",
        "units": system,
    }


def compare_day(session: DrivenSession, base: GuideDirectory) -> tuple[dict[str, float], str]:
    """Compare what these laps show of their car with the guide's: ratios, or why not."""
    if base.car is None:
        return {}, "The guide has no car to compare with."
    try:
        fit = fit_car(session.laps, session.circuit, resamples=0)
    except LapwrightError as error:
        return {}, str(error)
    if fit.car is None:
        return {}, "; ".join(fit.missing) or "These laps do not show their car."
    return _ratios(fit.car, base.car), ""


def _ratios(own: Car, other: Car) -> dict[str, float]:
    """Compare cars at the middle of the speeds that back both in cornering."""
    spans = [c.support["lateral"] for c in (own, other) if "lateral" in c.support]
    speed = float(np.mean([np.mean(s) for s in spans])) if spans else 40.0
    out = {
        name: _at(getattr(own, name), speed) / _at(getattr(other, name), speed)
        for name in ("lateral", "brake", "drive")
    }
    out["power"] = own.power_per_mass / other.power_per_mass
    return {k: v for k, v in out.items() if np.isfinite(v)}


def _at(limit: Limit, speed: float) -> float:
    return limit.at_rest + limit.per_v2 * speed**2


def _build(recording: Recording, base: GuideDirectory, progress: Progress) -> DrivenSession:
    session = build_session([recording], circuit=base.circuit, progress=progress)
    road = base.circuit
    if abs(session.circuit.x[1] - road.x[1]) + abs(session.circuit.y[1] - road.y[1]) > 0.01:
        raise _other_road(recording, "the laps run round it the other way")
    used = [x.track for x in session.laps if x.used and x.track is not None]
    if not used:
        raise _other_road(recording, "no lap counts on the guide's circuit")
    middle = 0.5 * (road.left - road.right)
    off = float(np.median(np.concatenate([
        np.abs(t.n - np.interp(t.s, road.s, middle)) for t in used
    ])))  # fmt: skip
    if off > OFF_ROAD_M:
        raise _other_road(recording, f"the laps lie {off:.0f} m from the middle of its road")
    return replace(session, circuit=replace(session.circuit, corners=road.corners))


def _other_road(recording: Recording, found: str) -> InputError:
    to_do = "Check that log and guide belong to the same circuit, direction and axes"
    return InputError(
        [Message("refused", recording.file, f"not the guide's circuit: {found}",
                 "Nothing was reviewed", to_do)]
    )  # fmt: skip


def _names(recordings: Sequence[Recording]) -> list[str]:
    """Name each log's driver; names that come twice are told apart by the file."""
    names = [find_info(r, "driver", "name") or Path(r.file).stem for r in recordings]
    return [
        f"{name} ({r.file})" if names.count(name) > 1 else name
        for name, r in zip(names, recordings, strict=True)
    ]


def _shown(base: GuideDirectory) -> dict[str, dict[str, float]]:
    passes = find_passes(base.circuit, [base.chosen])
    names = {a for p in passes for a in p.actions}
    return {
        p.corner: {a: v for a in names for v in values_of([p], p.corner, a).values()}
        for p in passes
    }
