"""One door to the optimiser: a sparse nonlinear programme in, an answer with its report out."""

from __future__ import annotations

import os
import time
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: From anywhere; from an answer's variables; from an answer's variables and multipliers.
Start = Literal["far", "close", "warm"]


@dataclass(frozen=True, slots=True)
class Limits:
    """When a solve is given up: iterations, seconds; and the tolerance asked."""

    iterations: int = 400
    seconds: float = 60.0
    tolerance: float = 1e-8


@dataclass(frozen=True, slots=True)
class SolveReport:
    """How a solve ended.

    Parameters
    ----------
    converged
        The solver met its tolerance.
    status
        The solver's own word.
    iterations, seconds
        What it took; seconds of wall clock.
    kkt
        Largest of stationarity, infeasibility and complementarity at the end, as scaled
        by the solver.
    infeasibility
        Largest violation of a constraint, in the constraint's own (scaled) unit.
    """

    converged: bool
    status: str
    iterations: int
    seconds: float
    kkt: float
    infeasibility: float


@dataclass(frozen=True, slots=True)
class Answer:
    """Variables, multipliers of bounds, constraints and parameters, and the report."""

    x: Array
    lam_x: Array
    lam_g: Array
    objective: float
    report: SolveReport


def build_solver(
    nlp: dict[str, Any], options: dict[str, Any], limits: Limits, start: Start = "far"
) -> Any:
    """Build an IPOPT solver for a CasADi programme.

    ``close`` is for variables of an answer to much the same problem: the barrier begins
    low. ``warm`` is for a neighbour's answer with its multipliers: the barrier follows
    the start, which is not pushed from its bounds.
    """
    import casadi as ca

    # threads cost more than they bring in matrices as small as those of one place on a road;
    # read when the first solver loads its library
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    ipopt: dict[str, Any] = {
        "print_level": 0, "sb": "yes", "max_iter": limits.iterations,
        "max_wall_time": limits.seconds, "tol": limits.tolerance, "acceptable_iter": 0,
        "mu_strategy": "monotone", "min_refinement_steps": 0,
    }  # fmt: skip
    if start == "close":
        ipopt["mu_init"] = 1e-6
    if start == "warm":
        push = 1e-7
        ipopt |= {
            "warm_start_init_point": "yes", "mu_strategy": "adaptive", "mu_init": 1e-5,
            "warm_start_bound_push": push, "warm_start_bound_frac": push,
            "warm_start_slack_bound_push": push, "warm_start_slack_bound_frac": push,
            "warm_start_mult_bound_push": push,
        }  # fmt: skip
    settings = {"print_time": False, "error_on_fail": False, "calc_lam_p": False}
    return ca.nlpsol("programme", "ipopt", nlp, settings | options | {"ipopt": ipopt})


def solve_programme(solver: Any, start: dict[str, Array]) -> Answer:
    """Run a solver from a start and report how it ended; never raises on failure.

    ``start`` holds CasADi's names: x0, p, lbx, ubx, lbg, ubg and, for a warm start,
    lam_x0, lam_g0.
    """
    begin = time.perf_counter()
    out = solver(**start)
    seconds = time.perf_counter() - begin
    stats = solver.stats()
    x, g = (np.asarray(out[k], float).ravel() for k in ("x", "g"))
    report = SolveReport(
        bool(stats["success"]), str(stats["return_status"]), int(stats["iter_count"]), seconds,
        _residual(stats), _violation(g, start),
    )  # fmt: skip
    finite = bool(np.isfinite(x).all() and np.isfinite(float(out["f"])))
    return Answer(
        x, np.asarray(out["lam_x"], float).ravel(), np.asarray(out["lam_g"], float).ravel(),
        float(out["f"]), report if finite else replace(report, converged=False),
    )  # fmt: skip


def _residual(stats: dict[str, Any]) -> float:
    """Last overall residual that the solver logged; ``inf`` when it logged none."""
    log = stats.get("iterations") or {}
    parts = [log[name][-1] for name in ("inf_pr", "inf_du", "mu") if log.get(name)]
    return float(max(parts)) if parts else float("inf")


def _violation(g: Array, start: dict[str, Array]) -> float:
    over = np.maximum(g - start["ubg"], start["lbg"] - g)
    return float(max(over.max(initial=0.0), 0.0))
