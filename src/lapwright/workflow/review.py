"""Other drivers' logs held against a guide: accounts, goals, what came of earlier goals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.action_values import values_of
from lapwright.driving.actions import find_passes
from lapwright.driving.habits import find_habits
from lapwright.driving.ledger import find_ledger
from lapwright.driving.ledger_records import GUIDE_LAP, ON_LINE, Ledger
from lapwright.driving.ledger_traces import build_traces, ledger_places
from lapwright.driving.review_goals import find_goals, find_level, mean_by_corner
from lapwright.driving.review_rooms import find_goal_rooms
from lapwright.errors import InputError, LapwrightError
from lapwright.guide.review_record import compose_record
from lapwright.guide.review_records import (
    LEAST_BY_ACTION,
    Reviewed,
    TimedStretch,
    compose_alike,
    compose_driver,
    compose_sheet,
)
from lapwright.guide.review_since import Road, compose_since
from lapwright.guide.unit_system import UnitSystem, units_as_view
from lapwright.messages import Message
from lapwright.model.car import Car, Limit
from lapwright.model.fit_car import fit_car
from lapwright.model.lap_findings import find_lap_messages
from lapwright.model.recording import Recording
from lapwright.possible.own_lines import solve_own_lines
from lapwright.workflow.accounts import take_motor, trace_own_lines
from lapwright.workflow.guide_directory import GuideDirectory, read_document, read_guide
from lapwright.workflow.hand_over import render_review_files
from lapwright.workflow.log_options import LogOptions
from lapwright.workflow.outputs import Made
from lapwright.workflow.session import (
    DrivenSession,
    Progress,
    build_session,
    find_info,
    quiet,
    read_recordings,
)

FloatArray = NDArray[np.float64]
SCHEMA: Final = "lapwright.review/1"
#: Grip that is taken away to find what it is worth, as a share.
LESS_GRIP: Final = 0.02
#: Laps whose middle lies so far from the middle of the road, m, are on another road.
OFF_ROAD_M: Final = 15.0


def make_review(
    logs: Sequence[Path],
    guide: Path,
    units: UnitSystem,
    *,
    options: LogOptions | None = None,
    since: Sequence[Path] = (),
    progress: Progress = quiet,
) -> Made:
    """Hold each log, one driver's, against a guide directory.

    Parameters
    ----------
    since
        Directories of earlier reviews of this guide, oldest first: the goals that the last of
        them set a driver are held against these laps, and all go into the guide's record.

    Raises
    ------
    InputError
        If a log or directory cannot be used, or a log is of another circuit.
    """
    base = read_guide(guide)
    earlier = [_read_earlier(directory / "review.json", base) for directory in since]
    recordings = read_recordings(logs, options or LogOptions(), progress)
    drivers = review_drivers(recordings, base, progress)
    document = compose_review(drivers, base, units, earlier, recordings)
    files, unset = render_review_files(document)
    found = [m for d in drivers for m in find_lap_messages(d.laps)]
    return Made(document, files, (*(m for r in recordings for m in r.messages), *found, *unset))


def review_drivers(
    recordings: Sequence[Recording], base: GuideDirectory, progress: Progress = quiet
) -> list[Reviewed]:
    """Hold each recording, one driver's, against a guide.

    Raises
    ------
    InputError
        If a recording is of another circuit.
    """
    sessions = [_build(r, base, progress) for r in recordings]
    return [
        review_driver(name, session, base, progress)
        for name, session in zip(_names(recordings), sessions, strict=True)
    ]


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
    rooms = find_goal_rooms(circuit, goals, laps, passes, base.chosen, car)
    day, why = compare_day(session, base)
    level = find_level({c: sum(x.values()) for c, x in costs.items()}, times)
    return Reviewed(
        name, laps, passes, ledger, habits, goals, rooms, costs, times, _time_stretches(ledger),
        float(np.mean([a.straight_s for a in held])) if held else 0.0,
        float(np.mean([a.difference_s for a in held])) if held else 0.0, level, day, why,
    )  # fmt: skip


def compose_review(
    drivers: Sequence[Reviewed], base: GuideDirectory, units: UnitSystem,
    earlier: Sequence[Mapping[str, Any]], recordings: Sequence[Recording],
) -> dict[str, Any]:  # fmt: skip
    """Compose ``review.json``."""
    view = units_as_view(units)
    system = view["systems"][view["chosen"]]
    said = [compose_driver(d, base.circuit, base.chosen, base.document, system) for d in drivers]
    logs = {d.name: r.sha256 for d, r in zip(drivers, recordings, strict=True)}
    try:
        road = _build_road(base) if earlier else Road(base.circuit.length_m)
        since = compose_since(earlier, drivers, logs, road, system) if earlier else []
        record = compose_record(earlier, since, logs, system)
    except (AttributeError, KeyError, TypeError, ValueError) as error:
        raise _refuse_earlier(f"its goals or times are garbled ({error!s:.60})") from error
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
        "since": since if earlier else None,
        "since_why_null": None if earlier else "No earlier review was given.",
        "record": record,
        "units": system,
    }


def _build_road(base: GuideDirectory) -> Road:
    motor = take_motor(base.car) if base.car else None
    return Road(base.circuit.length_m, price_grip(base), base.circuit.heading, motor)


def _read_earlier(path: Path, base: GuideDirectory) -> dict[str, Any]:
    """Read an earlier review, which must be of this guide: costs and goals are against its lap."""
    document = read_document(path, SCHEMA)
    guide = document.get("guide")
    same = isinstance(guide, Mapping) and all(
        isinstance(guide.get(key), int | float) and abs(guide[key] - value) < 1e-3
        for key, value in (("length_m", base.circuit.length_m), ("time_s", base.chosen.time_s))
    )
    if not same:
        raise _refuse_earlier("it was held against another guide")
    return document


def _refuse_earlier(found: str) -> InputError:
    to_do = "Give the directory of a review that lapwright wrote against this guide"
    return InputError([Message("refused", "review.json", found, "Nothing was reviewed", to_do)])


def _time_stretches(ledger: Ledger) -> tuple[TimedStretch, ...]:
    """Time the corners' stretches over all laps; a later review times its laps in the same."""
    out: list[TimedStretch] = []
    for one in ledger.stretches:
        took = np.array([t.time[one.last] - t.time[one.first] for t in ledger.traces])
        error = float(np.std(took, ddof=1) / np.sqrt(took.size)) if took.size > 1 else 0.0
        start, end = (float(ledger.places[i]) for i in (one.first, one.last))
        out += [
            TimedStretch(corner.id, start, end, float(took.mean()), error)
            for corner in (one.corner, *one.flat)
        ]
    return tuple(out)


def price_grip(base: GuideDirectory) -> FloatArray | None:
    """Price grip along the guide's lap: see `lapwright.guide.review_since.Road`.

    The guide's car on the line of the guide's lap, with all its grip and with a little less.
    """
    if base.car is None:
        return None
    lap, circuit = base.chosen, base.circuit
    full = solve_own_lines(circuit, [lap], base.car).get(lap.id)
    less = solve_own_lines(circuit, [lap], base.car.scaled(grip=1.0 - LESS_GRIP)).get(lap.id)
    if full is None or less is None:
        return None
    places = ledger_places(circuit)
    slow, fast = (np.interp(places, x.s, x.time) for x in (less, full))
    return np.asarray((slow - fast) / LESS_GRIP)


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
