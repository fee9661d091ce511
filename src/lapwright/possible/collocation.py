"""The fastest line as a programme: a graph for each mesh size, built once and reused.

A point mass on the ribbon, trapezoid collocation along the reference line, between whose
nodes the accelerations run straight. Offsets take the trapezoid's end correction: without
it the line would cut h² curvature / 12 into the inside of a bend. Lap time by the plain
rule needs none, for its corrections cancel around a lap. Each node
has six variables, scaled by `SCALE`: offset n (m), angle to the reference line (rad),
speed v (m/s), and the tyres' drive, brake and lateral acceleration (m/s², drive and
brake never below 0). The rates of the accelerations are not variables of their own:
they are differences between nodes, and a small charge on their squares keeps the answer
from ringing.

All that is nonlinear sits in one small function of one node. It is mapped over the
mesh, and so are its first and second derivatives, from which the Jacobian and the
Hessian are put together by hand: some five times faster than deriving the whole graph.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapwright.model.car import Car
from lapwright.numerics.solve import Limits, Start, build_solver
from lapwright.physics.drive import resistance
from lapwright.physics.grip import limit_at
from lapwright.physics.load import apparent_gravity, curvature_held, downhill_pull
from lapwright.possible.road import road_tilt

Array = NDArray[np.float64]
Ints = NDArray[np.int64]

N, ANGLE, V, DRIVE, BRAKE, LEFT, RIGHT = range(7)
STATES = 7
SCALE = np.array([3.0, 0.1, 30.0, 10.0, 10.0, 10.0, 10.0])
# what the node function returns: rates by s, seconds by s, shares in use, v²/2, d²n/ds²
D_N, D_ANGLE, D_ENERGY, SECONDS, USE, POWER, ENERGY, BEND_N = range(8)
ROAD_ROWS = 6  # curvature, height slope, height bend, cross, cross rate, (spare) edge room
CAR_ROWS = 14  # three limits of three parts, exponent, power, drag, rolling, gravity
#: Variables whose difference is one signed acceleration.
PAIRS = ((DRIVE, BRAKE), (LEFT, RIGHT))
FACTORS = ("grip", "power", "drag", "downforce", "mass")
ENERGY_SCALE = 100.0
_MOST_POWER = 1e5  # W/kg that stands for no limit
#: Charge in s·m on a change of an acceleration by its limit over one metre, squared.
SMOOTHING = 1e-4


@dataclass(frozen=True, slots=True)
class Graph:
    """A programme for one mesh size; what a solve may not need is made when it is asked for.

    ``solver`` gives the solver for a kind of start, ``gradients`` the Lagrangian's slopes
    by the variables and by the car's factors.
    """

    nodes: int
    closed: bool
    solver: Callable[[Start], Any]
    gradients: Callable[[], Any]
    outputs: Any


def car_column(car: Car) -> Array:
    """Parameters of the car in the order the graph wants, shape (14,)."""
    limits = [
        v for k in (car.lateral, car.brake, car.drive) for v in (k.at_rest, k.per_v2, k.per_load)
    ]
    power = min(car.power_per_mass, _MOST_POWER)
    return np.array([*limits, car.exponent, power, car.drag_per_mass, car.rolling, car.gravity])


def _node(flat: bool) -> tuple[Any, Any]:
    """Symbols (state, road, car, factors) and the outputs of one node, as CasADi SX."""
    import casadi as ca

    x, q = ca.SX.sym("x", STATES), ca.SX.sym("q", ROAD_ROWS)
    c, f = ca.SX.sym("c", CAR_ROWS), ca.SX.sym("f", len(FACTORS))
    n, angle, v, drive, brake, to_left, to_right = (x[i] * SCALE[i] for i in range(STATES))
    side = to_left - to_right
    grip, power, drag, downforce, mass = ca.vertsplit(f)
    k = q[0]
    shape = (q[1], q[2], q[3], q[4]) if not flat else (ca.SX(0),) * 4
    cosine, sine = ca.cos(angle), ca.sin(angle)
    slope, cross, bend = road_tilt(n, sine, cosine, k, *shape)
    normal = apparent_gravity(v, slope, cross, bend, c[13])
    air = grip * downforce / mass
    to_side, to_brake, to_drive = (
        limit_at(c[i] * grip, c[i + 1] * air, c[i + 2] * grip, v, normal, c[13]) for i in (0, 3, 6)
    )
    turning = curvature_held(v, side, slope, cross, normal)
    resist = resistance(c[11] * drag / mass, c[12], v, normal) + downhill_pull(slope, c[13])
    level = (1 - n * k) / cosine
    metres = level * (1 + slope**2) ** 0.5
    turn = turning * level - k
    # |x|^p has no second derivative at 0 below p = 2: rounded off by a thousandth at most
    p = c[9]
    round_off = 1e-5
    forward = drive / to_drive + brake / to_brake
    use = (forward + round_off) ** p + ((to_left + to_right) / to_side + round_off) ** p
    out = ca.vertcat(
        sine * level, turn, (drive - brake - resist) * metres, metres / v,
        use, drive * v / (c[10] * power / mass), v * v / 2,
        level / cosine * turn - sine / cosine * k * sine * level,
    )  # fmt: skip
    return (x, q, c, f), out


class _Triplets:
    """Values with their rows and columns, summed where they meet."""

    def __init__(self) -> None:
        self.rows: list[Ints] = []
        self.cols: list[Ints] = []
        self.values: list[Any] = []

    def add(self, rows: Ints, cols: Ints, values: Any) -> None:
        self.rows.append(rows)
        self.cols.append(cols)
        self.values.append(values)

    def matrix(self, shape: tuple[int, int], *, upper: bool = False) -> Any:
        """Sparse CasADi matrix; with ``upper``, entries below the diagonal are mirrored."""
        import casadi as ca

        rows, cols = np.concatenate(self.rows), np.concatenate(self.cols)
        if upper:
            rows, cols = np.minimum(rows, cols), np.maximum(rows, cols)
        places, where = np.unique(cols * shape[0] + rows, return_inverse=True)
        sparsity = ca.Sparsity.triplet(
            *shape, (places % shape[0]).tolist(), (places // shape[0]).tolist()
        )
        gather = ca.Sparsity(places.size, where.size, list(range(where.size + 1)), where.tolist())
        values = ca.vertcat(*[ca.vec(v) for v in self.values])
        return ca.MX(sparsity, ca.mtimes(ca.DM(gather, 1.0), values))


@dataclass(frozen=True, slots=True)
class _Mesh:
    """Node and interval numbering: interval j joins nodes a[j] and b[j]."""

    nodes: int
    a: Ints
    b: Ints

    def column(self, variable: int, node: Ints) -> Ints:
        return node * STATES + variable


class _Builder:
    """Everything symbolic of one mesh size."""

    def __init__(self, nodes: int, closed: bool, flat: bool) -> None:
        import casadi as ca

        self.ca = ca
        every = np.arange(nodes)
        joins = nodes if closed else nodes - 1
        self.mesh = _Mesh(nodes, every[:joins], (every[:joins] + 1) % nodes)
        self.joins, self.nodes = joins, nodes
        self.constraint_count = 4 * joins + 2 * nodes
        self.x = ca.MX.sym("x", STATES * nodes)
        self.road = ca.MX.sym("road", ROAD_ROWS, nodes)
        self.car, self.factors = ca.MX.sym("car", CAR_ROWS), ca.MX.sym("factors", len(FACTORS))
        self.h = ca.MX.sym("h", 1, joins)
        self.charge = ca.MX.sym("charge")
        self.p = ca.vertcat(ca.vec(self.road), self.car, self.factors, ca.vec(self.h), self.charge)
        symbols, out = _node(flat)
        self._derive(symbols, out)
        self.z = ca.reshape(self.x, STATES, nodes)
        self.given = (self.z, self.road, self._all(self.car), self._all(self.factors))

    def _all(self, column: Any) -> Any:
        return self.ca.repmat(column, 1, self.nodes)

    def _derive(self, symbols: tuple[Any, ...], out: Any) -> None:
        ca = self.ca
        jac = ca.jacobian(out, symbols[0])
        weight = ca.SX.sym("weight", out.numel())
        hess = ca.triu(ca.hessian(ca.dot(weight, out), symbols[0])[0])
        self.jac_at = [np.array(a, int) for a in jac.sparsity().get_triplet()]
        self.hess_at = [np.array(a, int) for a in hess.sparsity().get_triplet()]
        cse = {"cse": True}
        self.f_out = ca.Function("node", [*symbols], [out], cse).map(self.nodes)
        self.f_jac = ca.Function(
            "node_first", [*symbols], [out, ca.vertcat(*jac.nonzeros())], cse
        ).map(self.nodes)
        self.f_hess = ca.Function(
            "node_second", [*symbols, weight], [ca.vertcat(*hess.nonzeros())], cse
        ).map(self.nodes)

    def ends(self, row: Any) -> tuple[Any, Any]:
        """Split a row over nodes: at the first and the second end of each interval."""
        first = row[:, : self.joins]
        second = self.ca.horzcat(row[:, 1:], row[:, :1]) if self.joins == self.nodes else row[:, 1:]
        return first, second

    def spread(self, row: Any) -> Any:
        """Sum of a row over intervals at both their ends, a row over nodes."""
        ca, zero = self.ca, self.ca.MX.zeros(1, 1)
        if self.joins == self.nodes:
            return row + ca.horzcat(row[:, -1:], row[:, :-1])
        return ca.horzcat(row, zero) + ca.horzcat(zero, row)

    def differ(self, row: Any) -> Any:
        """Row over intervals, minus at the first and plus at the second end."""
        ca, zero = self.ca, self.ca.MX.zeros(1, 1)
        if self.joins == self.nodes:
            return ca.horzcat(row[:, -1:], row[:, :-1]) - row
        return ca.horzcat(zero, row) - ca.horzcat(row, zero)

    def objective(self, out: Any) -> tuple[Any, Any]:
        """Lap time, and lap time with the charge on changing accelerations."""
        time = self.ca.sum2(self.h * sum(self.ends(out[SECONDS, :]))) / 2
        charge = self.ca.MX.zeros(1, 1)
        for plus, minus in PAIRS:
            a, b = self.ends(self.z[plus, :] - self.z[minus, :])
            charge += self.ca.sum2((b - a) ** 2 / self.h)
        return time, time + self.charge * charge

    def constraints(self, out: Any) -> Any:
        """Defects of n, angle and energy, offsets half-way; use and power of every node."""
        ca = self.ca
        rows = []
        for value, rate, scale in (
            (self.z[N, :], D_N, SCALE[N]),
            (self.z[ANGLE, :], D_ANGLE, SCALE[ANGLE]),
            (out[ENERGY, :] / ENERGY_SCALE, D_ENERGY, ENERGY_SCALE),
        ):
            a, b = self.ends(value)
            rows.append(b - a - self.h / 2 * sum(self.ends(out[rate, :])) / scale)
        a, b = self.ends(out[BEND_N, :])
        rows[0] += self.h**2 / 12 * (b - a) / SCALE[N]
        a, b = self.ends(out[D_N, :])
        rows.append(sum(self.ends(self.z[N, :])) / 2 + self.h / 8 * (a - b) / SCALE[N])
        return ca.vertcat(*[ca.vec(r) for r in rows], ca.vec(out[USE, :]), ca.vec(out[POWER, :]))

    def gradient(self, jac: Any) -> Any:
        """Gradient of the objective, a column over the variables."""
        ca = self.ca
        weight = self.spread(self.h) / 2
        rows = [ca.MX.zeros(1, self.nodes) for _ in range(STATES)]
        for entry, (r, c) in enumerate(zip(*self.jac_at, strict=True)):
            if r == SECONDS:
                rows[c] = rows[c] + weight * jac[entry, :]
        for plus, minus in PAIRS:
            a, b = self.ends(self.z[plus, :] - self.z[minus, :])
            slope = self.differ(2 * self.charge * (b - a) / self.h)
            rows[plus], rows[minus] = rows[plus] + slope, rows[minus] - slope
        return ca.vec(ca.vertcat(*rows))

    def jacobian(self, jac: Any) -> Any:
        """Sparse Jacobian of `constraints`."""
        ca, joins, mesh = self.ca, self.joins, self.mesh
        out = _Triplets()
        defects = {D_N: (0, SCALE[N]), D_ANGLE: (1, SCALE[ANGLE]), D_ENERGY: (2, ENERGY_SCALE)}
        ends_only = {
            ENERGY: (2, ca.MX.ones(1, joins) / ENERGY_SCALE), BEND_N: (0, self.h**2 / 12 / SCALE[N])
        }  # fmt: skip
        both = ((mesh.a, -1.0), (mesh.b, 1.0))
        for entry, (r, c) in enumerate(zip(*self.jac_at, strict=True)):
            if r == D_N:
                for (nodes, sign), row in zip(both, self.ends(jac[entry, :]), strict=True):
                    rows = 3 * joins + np.arange(joins)
                    out.add(rows, mesh.column(c, nodes), -sign * self.h / (8 * SCALE[N]) * row)
            if r in defects:
                place, scale = defects[r]
                for (nodes, _), row in zip(both, self.ends(jac[entry, :]), strict=True):
                    out.add(
                        place * joins + np.arange(joins), mesh.column(c, nodes),
                        -self.h / (2 * scale) * row,
                    )  # fmt: skip
            elif r in (USE, POWER):
                rows = 4 * joins + (r - USE) * self.nodes + np.arange(self.nodes)
                out.add(rows, mesh.column(c, np.arange(self.nodes)), jac[entry, :])
            elif r in (ENERGY, BEND_N):
                place, factor = ends_only[r]
                for (nodes, sign), row in zip(both, self.ends(jac[entry, :]), strict=True):
                    rows = place * joins + np.arange(joins)
                    out.add(rows, mesh.column(c, nodes), sign * factor * row)
        ones = ca.MX.ones(1, joins)
        for place, variable in ((0, N), (1, ANGLE)):
            rows = place * joins + np.arange(joins)
            out.add(rows, mesh.column(variable, mesh.a), -ones)
            out.add(rows, mesh.column(variable, mesh.b), ones)
        for nodes in (mesh.a, mesh.b):
            out.add(3 * joins + np.arange(joins), mesh.column(N, nodes), ones / 2)
        return out.matrix((self.constraint_count, STATES * self.nodes))

    def hessian(self, lam_f: Any, lam_g: Any) -> Any:
        """Upper half of the Lagrangian's Hessian."""
        ca, joins = self.ca, self.joins
        defects = ca.reshape(lam_g[: 4 * joins], joins, 4).T
        use, power = (
            lam_g[4 * joins + i * self.nodes : 4 * joins + (i + 1) * self.nodes].T for i in (0, 1)
        )
        to_n, to_angle, to_energy = (
            self.spread(-self.h / (2 * scale) * defects[i, :])
            for i, scale in enumerate((SCALE[N], SCALE[ANGLE], ENERGY_SCALE))
        )
        weight = ca.vertcat(
            to_n - self.differ(self.h / (8 * SCALE[N]) * defects[3, :]), to_angle, to_energy,
            lam_f * self.spread(self.h) / 2, use, power,
            self.differ(defects[2, :]) / ENERGY_SCALE,
            self.differ(self.h**2 / 12 * defects[0, :]) / SCALE[N],
        )  # fmt: skip
        total = _Triplets()
        blocks = self.f_hess(*self.given, weight)
        every = np.arange(self.nodes)
        for entry, (r, c) in enumerate(zip(*self.hess_at, strict=True)):
            total.add(self.mesh.column(r, every), self.mesh.column(c, every), blocks[entry, :])
        self._add_charge(total, lam_f)
        return total.matrix((STATES * self.nodes, STATES * self.nodes), upper=True)

    def _add_charge(self, total: _Triplets, lam_f: Any) -> None:
        mesh, value = self.mesh, lam_f * 2 * self.charge / self.h
        for pair in PAIRS:
            for nodes in (mesh.a, mesh.b):
                plus, minus = (mesh.column(variable, nodes) for variable in pair)
                total.add(plus, plus, value)
                total.add(minus, minus, value)
                total.add(plus, minus, -value)
            for i, first in enumerate(pair):
                for j, second in enumerate(pair):
                    rows, cols = mesh.column(first, mesh.a), mesh.column(second, mesh.b)
                    total.add(rows, cols, -value if i == j else value)


@lru_cache(maxsize=12)
def build_graph(nodes: int, closed: bool, flat: bool, limits: Limits) -> Graph:
    """Build the programme of a mesh size with its derivatives.

    ``flat`` leaves out heights, which is twice as fast.
    """
    b = _Builder(nodes, closed, flat)
    ca = b.ca
    out, jac = b.f_jac(*b.given)
    plain = b.f_out(*b.given)
    lam_f, lam_g = ca.MX.sym("lam_f"), ca.MX.sym("lam_g", b.constraint_count)
    time, objective = b.objective(plain)
    g = b.constraints(plain)
    options = {
        "grad_f": ca.Function(
            "grad_f", [b.x, b.p], [b.objective(out)[1], b.gradient(jac)],
            ["x", "p"], ["f", "grad_f_x"],
        ),
        "jac_g": ca.Function(
            "jac_g", [b.x, b.p], [b.constraints(out), b.jacobian(jac)],
            ["x", "p"], ["g", "jac_g_x"],
        ),
        "hess_lag": ca.Function(
            "hess_lag", [b.x, b.p, lam_f, lam_g], [b.hessian(lam_f, lam_g)],
            ["x", "p", "lam_f", "lam_g"], ["triu_hess_gamma_x_x"],
        ),
    }  # fmt: skip
    nlp = {"x": b.x, "p": b.p, "f": objective, "g": g}
    lagrangian = objective + ca.dot(lam_g, g)

    @lru_cache(maxsize=1)
    def gradients() -> Any:
        slopes = [ca.gradient(lagrangian, b.x), ca.gradient(lagrangian, b.factors)]
        return ca.Function("gradients", [b.x, b.p, lam_g], slopes)

    outputs = ca.Function("outputs", [b.x, b.p], [time, plain])
    solver = lru_cache(partial(build_solver, nlp, options, limits))
    return Graph(nodes, closed, solver, gradients, outputs)
