"""What a car could do on a circuit: the work behind ``lapwright possible``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import NoAnswerError, UsageError
from lapwright.model.car import Car
from lapwright.model.car_toml import read_car
from lapwright.model.circuit import Circuit
from lapwright.numerics.solve import Limits
from lapwright.possible.fastest_line import (
    FINER_TOLERANCE,
    FastestLine,
    build_line_path,
    solve_fastest_line,
)
from lapwright.possible.flat_out import find_flat_margins, find_loads, load_along
from lapwright.possible.path import Path as DrivenPath
from lapwright.possible.path import build_path_over
from lapwright.possible.speed_profile import SpeedProfile, solve_speed_profile
from lapwright.possible.worth import find_zones, price_car, price_road
from lapwright.readers.circuit_files import read_circuit
from lapwright.readers.line_files import read_line

Array = NDArray[np.float64]
SCHEMA = "lapwright.possible/1"
CAUTIONS = (
    "These numbers are worked out for the car and the road as given: an estimate, not a promise. "
    "A car fitted from laps is what those laps showed in their conditions.",
    "Build up to them in small steps, on closed circuits only. The event's rules, the marshals "
    "and licensed instruction come first.",
)
COARSEST_M = 10.0
_ROUGH = Limits(tolerance=FINER_TOLERANCE)
_NO_CORNERS = "the circuit file names no corners; the circuit.json of a guide does"


@dataclass(frozen=True, slots=True)
class Wanted:
    """What to work out.

    ``prices`` also solves once more for each of grip, power, drag, downforce and mass on
    both sides; without it there are only the multipliers.
    """

    mesh_m: float = 5.0
    margin_m: float = 0.0
    prices: bool = True


def make_possible(
    circuit_files: Sequence[str | Path], car_file: str | Path,
    line_file: str | Path | None = None, wanted: Wanted | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Work out what is possible and return the document (schema ``lapwright.possible/1``).

    Parameters
    ----------
    circuit_files
        One circuit file, or one of each edge.
    car_file
        TOML in the physical or the fitted form.
    line_file
        Points x, y of a line: then only the speed profile on it is worked out.

    Raises
    ------
    InputError, UsageError
        For files that cannot be used.
    NoAnswerError
        When there is no answer to trust.
    """
    wanted = wanted or Wanted()
    circuit, car = read_circuit(list(circuit_files)), read_car(car_file)
    if line_file is None:
        return compose_fastest_line(circuit, car, wanted)
    return compose_on_line(circuit, car, *read_line(line_file))


def _head(circuit: Circuit, car: Car, kind: str) -> dict[str, Any]:
    return {
        "schema": SCHEMA, "kind": kind, "cautions": list(CAUTIONS),
        "circuit": {
            "name": circuit.name, "length_m": circuit.length_m, "surveyed": circuit.surveyed,
            "turns": circuit.turns, "has_heights": circuit.has_heights,
        },
        "car": {
            "power_per_mass_wpkg": _finite(car.power_per_mass),
            "drag_per_mass_1pm": car.drag_per_mass, "combined_exponent": car.exponent,
            "width_m": car.width_m, "shown_by": car.shown_by or None,
            **{
                name: {
                    "at_rest_mps2": limit.at_rest, "per_v2_1pm": limit.per_v2,
                    "per_load": limit.per_load,
                    "supported_mps": list(car.support[name]) if name in car.support else None,
                }
                for name, limit in (
                    ("lateral", car.lateral), ("brake", car.brake), ("drive", car.drive)
                )
            },
        },
    }  # fmt: skip


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None


def compose_fastest_line(circuit: Circuit, car: Car, wanted: Wanted) -> dict[str, Any]:
    """Document of the fastest line: lap time, line, worth of road and car, report."""
    coarse = _solve_coarsely(circuit, car, wanted)
    line = solve_fastest_line(
        circuit, car, mesh_m=wanted.mesh_m, margin_m=wanted.margin_m, near=coarse
    )
    path = build_line_path(circuit, line)
    return {
        **_head(circuit, car, "fastest_line"), "lap_time_s": line.time_s,
        "line": _line_columns(circuit, car, line, path),
        "road_worth": {
            "s_m": line.s, "left_s_per_m2": line.left_worth, "right_s_per_m2": line.right_worth,
            "total_s_per_m": float((line.left_worth + line.right_worth).sum() * line.step_m),
        },
        "car_worth": _car_worth(circuit, car, line, (coarse or line) if wanted.prices else None),
        "corners": _corners(circuit, car, line, path),
        "corners_why_empty": None if circuit.corners else _NO_CORNERS,
        "solver": _solver(line),
    }  # fmt: skip


def _line_columns(
    circuit: Circuit, car: Car, line: FastestLine, path: DrivenPath
) -> dict[str, Any]:
    heading = np.interp(line.s, circuit.s, np.unwrap(circuit.heading))
    x, y = (
        np.interp(line.s, circuit.s, a, period=circuit.length_m) for a in (circuit.x, circuit.y)
    )
    return {
        "s_m": line.s, "n_m": line.n, "x_m": x - np.sin(heading) * line.n,
        "y_m": y + np.cos(heading) * line.n, "t_s": line.t, "speed_mps": line.v,
        "curvature_1pm": line.curvature, "drive_mps2": line.drive, "brake_mps2": line.brake,
        "side_mps2": line.side, "use": line.use, "load_share": load_along(path, car, line.v),
    }  # fmt: skip


def _solve_coarsely(circuit: Circuit, car: Car, wanted: Wanted) -> FastestLine | None:
    """Line on a mesh twice as coarse, to start from and to price the car on; None without."""
    mesh = min(2 * wanted.mesh_m, COARSEST_M)
    if mesh <= wanted.mesh_m:
        return None
    try:
        return solve_fastest_line(
            circuit, car, mesh_m=mesh, margin_m=wanted.margin_m, check=False, limits=_ROUGH
        )
    except NoAnswerError:
        return None


def _car_worth(
    circuit: Circuit, car: Car, line: FastestLine, priced: FastestLine | None
) -> dict[str, Any]:
    """Multipliers of the line, and both sides priced on ``priced`` where that is given."""
    both: Mapping[str, tuple[float, float]] = {}
    why = "not asked for"
    if priced is not None:
        try:
            both, why = price_car(circuit, car, priced, limits=_ROUGH), ""
        except NoAnswerError as error:
            why = str(error)
    return {
        name: {
            "s_per_percent": slope / 100,
            "one_percent_less_s": both[name][0] if name in both else None,
            "one_percent_more_s": both[name][1] if name in both else None,
            "why_null": why or None,
        }
        for name, slope in line.factors.items()
    }


def _corners(
    circuit: Circuit, car: Car, line: FastestLine, path: DrivenPath
) -> list[dict[str, Any]]:
    worths = price_road(circuit, line, find_zones(circuit, line))
    margins = find_flat_margins(path, car, circuit.corners, circuit.length_m)
    loads = find_loads(path, car, line.v, circuit.corners, circuit.length_m)
    return [
        {
            "id": corner.id, "name": corner.name,
            "road_worth": {
                w.zone.part: {
                    "side": w.zone.side, "start_m": w.zone.start_m, "end_m": w.zone.end_m,
                    "s_per_m": w.s_per_m,
                }
                for w in worths if w.zone.corner == corner.id
            },
            "flat_margin": {
                "value": margin.margin, "low": margin.low, "high": margin.high,
                "downforce_factor": margin.downforce_factor, "speed_mps": margin.speed_mps,
            },
            "load": {"max_share": load.max_share, "min_share": load.min_share},
        }
        for corner, margin, load in zip(circuit.corners, margins, loads, strict=True)
    ]  # fmt: skip


def _solver(line: FastestLine) -> dict[str, Any]:
    report = line.report
    return {
        "converged": report.solver.converged, "iterations": report.solver.iterations,
        "kkt": report.kkt, "mesh_m": report.mesh_m, "seconds": report.seconds,
        "solve_seconds": report.solver.seconds, "finer_lap_time_s": report.finer_time_s,
        "replayed_lap_time_s": report.replay_time_s, "replay_offset_m": report.replay_offset_m,
        "started_from": list(report.tries),
    }  # fmt: skip


def compose_on_line(circuit: Circuit, car: Car, x: Array, y: Array) -> dict[str, Any]:
    """Document of the speed profile on a given line, every metre."""
    try:
        path = build_path_over(circuit, x, y)
    except UsageError as error:
        raise UsageError(f"--line: {error}") from error
    profile: SpeedProfile = solve_speed_profile(path, car)
    return {
        **_head(circuit, car, "speed_profile"), "lap_time_s": profile.time_s,
        "line": {
            "s_m": np.mod(path.s, circuit.length_m), "t_s": profile.t, "speed_mps": profile.v,
            "acceleration_mps2": profile.acceleration, "curvature_1pm": path.curvature,
            "load_share": load_along(path, car, profile.v),
        },
        "solver": None, "solver_why_null": "a given line needs no optimiser",
    }  # fmt: skip
