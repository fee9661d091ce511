"""Sessions with known references, and how far apart their kinds lie, from the truth alone.

Circuit, car and drivers are the demo's, all invented; what is added here (rises of the road,
walls, pairs of posts, things behind a rise or a wall) is invented too. How far apart the kinds
lie is worked out from the simulator's motion at 1 kHz by code of the test's own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import DRIVERS, Day, Fault, Reference, Session, make_session, quillbeck, sight
from lapwright.demo import layout as ly
from lapwright.demo import road as rd
from lapwright.demo.drive import anchors_of
from lapwright.demo.drivers import Action, Cause, Driver
from lapwright.demo.lap import corner_noise
from lapwright.demo.line import racing_offsets
from lapwright.demo.truth import CornerTruth
from lapwright.driving.references import ActionReferences
from lapwright.model.circuit import Circuit, Landmark, RoadSpan

Array = NDArray[np.float64]

#: Corners that are braked for, and about the speed there, m/s.
SPEEDS = {1: 67.0, 2: 40.0, 3: 57.0, 5: 59.0, 6: 39.0, 7: 35.0, 8: 40.0, 10: 64.0, 11: 60.0}
#: A driver with something in hand, who stays on the road when a reference makes him late.
CAREFUL = replace(DRIVERS["coach"], references=(), share=0.93, brake_share=0.85, level_spread=0.006)
#: Rises of the road that hide things until shortly before the brake: centre, height, length, m.
RISES = ((236.0, 2.6, 75.0), (853.0, 2.6, 75.0))
#: Corners at which a thing is hidden by such a rise: it shows at the same place on every line.
RISEN = (1, 3)
#: Corners at which a wall at the roadside hides it, by how many metres later it shows for each
#: metre that the car keeps to the wall's side: where lines differ from lap to lap.
WALLED = {5: 7.0, 8: 7.0, 10: 8.0, 11: 7.0}
#: Where walls stand, m from the middle of the road, how long and high they are, m.
WALL_OFF_M, WALL_LONG_M, WALL_HIGH_M = 8.0, 70.0, 12.0
#: Corners at which a kind can be planted: a wheel turned before, a thing hidden.
CAN_BE = {"straight": (6,), "view": (*RISEN, *WALLED), "speed": (1, 3, 6, 7, 8)}
#: Where the wheel is back within so much of straight shortly before the brake, rad at the wheels.
STRAIGHT_RAD = {6: 0.007}
KINDS = {
    "place": "place", "straight": "state", "speed": "state", "alignment": "alignment",
    "view": "view",
}  # fmt: skip
LOOK_BACK_S, LOOK_ON_S = 2.5, 0.3
#: How long before an action what is felt, and what is seen, can be what it is taken on, s.
FELT_S, LOOKED_S = 0.7, 1.0


@dataclass(frozen=True)
class Planted:
    """One planted reference of a session, and what the truth says of it.

    ``sigma_s`` is the standard deviation of the hand's own noise on these laps; ``apart_s`` is,
    by kind, how closely the best candidate of that kind could follow a hand without noise.
    ``after_s`` is, by lap, how long after the true event the true action came: with the hand's
    noise, how long the foot takes and what the simulator's polynomials leave of the geometry.
    Laps on which the driver did not meet his reference are not in it (nobody waits for ever, or
    he was still busy with the corner before); ``acted_on`` tells whether he did on nine of ten.
    """

    corner: int
    what: str
    sigma_s: float
    after_s: dict[int, float]
    apart_s: dict[str, float]
    acted_on: bool

    @property
    def planted_s(self) -> float:
        """Standard deviation of the true action about the true event."""
        return float(np.std(list(self.after_s.values()), ddof=1))

    @property
    def kind(self) -> str:
        return KINDS[self.what]

    @property
    def nearest_s(self) -> float:
        """How far the nearest other kind lies."""
        return min(d for kind, d in self.apart_s.items() if kind != self.kind)

    @property
    def apart(self) -> bool:
        """Whether the planted kinds lie at least one and a half sigma apart."""
        return self.nearest_s >= 1.5 * self.planted_s


def steady(driver: Driver, references: tuple[tuple[int, Action, Reference], ...]) -> Driver:
    """Return a driver with these references and without scatter."""
    return replace(
        driver, time_s=0.0, share_spread=0.0, level_spread=0.0, line_m=0.0, wheel=0.0,
        references=references,
    )  # fmt: skip


@lru_cache(maxsize=8)
def raised_circuit(posts: tuple[int, ...], walls: tuple[int, ...] = ()) -> rd.Circuit:
    """Return the demo's circuit with rises more, and things behind rises.

    Pairs of posts stand only at the corners ``posts``, walls with a thing behind them only at
    ``walls``: two things in line, or a thing that shows, beside the place where a driver brakes
    by something else are no other kind, but the same place.
    """
    base = quillbeck()
    grid, s = base.grid.copy(), base.s
    z = grid[:, ly.GZ].copy()
    for centre, height, length in RISES:
        z += height * np.exp(-0.5 * ((s - centre) / length) ** 2)
    z -= z[0]
    z[-1] = z[0]
    up, down = np.roll(z[:-1], -1), np.roll(z[:-1], 1)
    slope, bend = (up - down) / (2 * base.step_m), (up - 2 * z[:-1] + down) / base.step_m**2
    grid[:, ly.GZ] = z
    grid[:, ly.GSLOPE] = np.append(slope, slope[0])
    grid[:, ly.GVERT] = np.append(bend, bend[0])
    circuit = replace(base, grid=grid)
    marks = list(circuit.landmarks)
    places = tuple((corner, "brake", Reference("place")) for corner in SPEEDS)
    held = anchors_of(steady(CAREFUL, places), Day(), circuit, None)
    for corner, speed in SPEEDS.items():
        place = float(held[(corner, "brake")][1])
        if corner in posts:
            marks += _posts(circuit, corner, place - 0.45 * speed)
        if corner in RISEN:
            marks.append(_hidden_thing(circuit, corner, place - 0.45 * speed))
    circuit = replace(circuit, landmarks=tuple(marks))
    for corner in walls:
        place = float(held[(corner, "brake")][1])
        circuit = _walled(circuit, corner, place - 0.4 * SPEEDS[corner])
    return circuit


def _walled(circuit: rd.Circuit, corner: int, place: float) -> rd.Circuit:
    """Stand a wall beside the road, and beyond its end a thing that shows from a place on.

    Both lie on one ray from the eye on the usual line, the thing twice as far. By similar
    triangles it shows ``reach / (off - n)`` later for each metre aside.
    """
    n = float(np.interp(place, *racing_offsets(circuit.name, CAREFUL.margin_m, CAREFUL.line_share)))
    side = 1.0 if n >= 0 else -1.0
    off = side * WALL_OFF_M
    reach = WALLED[corner] * abs(off - n)
    eye, end = _beside(circuit, place, n), _beside(circuit, place + reach, off)
    x, y = (2.0 * b - a for a, b in zip(eye, end, strict=True))
    at, ground = place + 2 * reach, float(_row(circuit, place + 2 * reach)[ly.GZ])
    mark = rd.Landmark(f"marker {corner}", at, 2 * off - n, 6.0, x, y, ground)
    wall = rd.Span(
        "wall", f"wall {corner}", place + reach - WALL_LONG_M, place + reach,
        max(off, off + side), min(off, off + side), 1.0, 0.0,
    )  # fmt: skip
    return replace(circuit, landmarks=(*circuit.landmarks, mark), spans=(*circuit.spans, wall))


def _wall_end(circuit: rd.Circuit, mark: str) -> tuple[float, float] | None:
    """Return the end of the wall that hides a thing; None where a rise does."""
    name = mark.replace("marker", "wall")
    ends = [
        _beside(circuit, w.end_m, min(w.left_m, w.right_m, key=abs))
        for w in circuit.spans
        if w.kind == "wall" and w.name == name
    ]
    return ends[0] if ends else None


def _row(circuit: rd.Circuit, at: float) -> Array:
    return np.asarray(circuit.grid[round(at / circuit.step_m) % (circuit.grid.shape[0] - 1)])


def _beside(circuit: rd.Circuit, at: float, off: float) -> tuple[float, float]:
    row = _row(circuit, at)
    return (
        float(row[ly.GX] - off * np.sin(row[ly.GHEADING])),
        float(row[ly.GY] + off * np.cos(row[ly.GHEADING])),
    )


def _posts(circuit: rd.Circuit, corner: int, place: float) -> list[rd.Landmark]:
    """Two posts that stand in line from the middle of the road at a place; 6 m for each metre."""
    side = 1.0 if corner % 2 else -1.0
    eye, near = _beside(circuit, place, 0.0), _beside(circuit, place + 48.0, 8.0 * side)
    far = tuple(e + 2.5 * (p - e) for e, p in zip(eye, near, strict=True))
    z = float(_row(circuit, place)[ly.GZ])
    return [
        rd.Landmark(f"near post {corner}", place + 48.0, 8.0 * side, 2.0, *near, z),
        rd.Landmark(f"far post {corner}", place + 120.0, 20.0 * side, 4.0, far[0], far[1], z),
    ]


def _hidden_thing(circuit: rd.Circuit, corner: int, place: float) -> rd.Landmark:
    """Stand a thing beyond a rise, as high as lets its top show from a place on."""
    at = place + 130.0  # beyond the rise: its top lies below the crest
    s, z = circuit.s, circuit.grid[:, ly.GZ]
    eye = float(np.interp(place, s, z)) + sight.EYE_HEIGHT
    way = (s > place + 1.0) & (s < at)
    top = eye + float(((z[way] - eye) / (s[way] - place)).max()) * (at - place)
    ground = float(np.interp(at, s, z))
    x, y = _beside(circuit, at, 7.0)
    return rd.Landmark(f"marker {corner}", at, 7.0, top - ground, x, y, ground)


def plan_kinds(shift: int, mixed: bool = False) -> dict[int, str]:
    """Deal the kinds out to the corners; each shift deals them differently.

    Laps of mixed pace hold no reference to a speed (it would come late by many metres) and
    have the wheel back to straight wherever that can be planted.
    """
    kinds = [k for k in KINDS if not (mixed and k in ("speed", "straight"))]
    out = {}
    for i, corner in enumerate(SPEEDS):
        order = [kinds[(i + shift + k) % len(kinds)] for k in range(len(kinds))]
        out[corner] = next(k for k in order if corner in CAN_BE.get(k, SPEEDS))
    return out | (dict.fromkeys(CAN_BE["straight"], "straight") if mixed else {})


@lru_cache(maxsize=2)
def drive_planted(
    shift: int, laps: int, seed: int, time_s: float, mixed: bool = False
) -> tuple[Session, tuple[Planted, ...]]:
    """Drive laps that differ in speed and line, with references planted at the brake.

    Parameters
    ----------
    shift
        Of `plan_kinds`.
    time_s
        Standard deviation of the hand's timing.
    mixed
        Whether the pace differs much from lap to lap.

    Returns
    -------
    The session, and what the truth says of each planted reference.
    """
    rng = np.random.default_rng([seed, 77])
    kinds = plan_kinds(shift, mixed)
    refs = tuple((corner, "brake", _reference(corner, what)) for corner, what in kinds.items())
    driver = replace(
        CAREFUL, references=refs, time_s=time_s, line_m=0.3 if mixed else 0.5, share_spread=0.006
    )
    slow = _slow_laps(rng, laps, mixed)
    posts = tuple(corner for corner, what in kinds.items() if what == "alignment")
    walls = tuple(c for c, what in kinds.items() if what == "view" and c in WALLED)
    day = Day(wind_spread=2.0 if mixed else 0.3, grip_spread=0.01 if mixed else 0.004)
    session = make_session(
        driver, laps, seed, faults=slow, day=day, circuit=raised_circuit(posts, walls), costs=False
    )
    return session, tuple(find_planted(session, seed))


def _slow_laps(rng: np.random.Generator, laps: int, mixed: bool) -> tuple[Fault, ...]:
    """Make the pace differ by what the driver does at corners before."""
    kinds: list[tuple[Cause, int, float]]
    if mixed:
        kinds = [("late_throttle", 8, 25.0), ("late_throttle", 11, 25.0)]
        kinds += [("gear", 2, 2.0), ("gear", 9, 2.0), ("gear", 11, 2.0), ("lift", 12, 1.0)]
    else:
        kinds = [("late_throttle", corner, 12.0) for corner in (1, 2, 3, 8, 11)]
    return tuple(
        Fault(cause, corner, lap, _size(rng, cause, most))
        for cause, corner, most in kinds
        for lap in range(1, laps + 1)
    )


def _size(rng: np.random.Generator, cause: Cause, most: float) -> float:
    return float(rng.integers(0, int(most) + 1) if cause == "gear" else rng.uniform(0.0, most))


def _reference(corner: int, what: str) -> Reference:
    if what == "alignment":
        posts = (f"near post {corner}", f"far post {corner}")
        return Reference("alignment", posts, foreseen=False)
    if what == "view":
        return Reference("view", (f"marker {corner}",))
    return Reference(what, value=STRAIGHT_RAD[corner] if what == "straight" else 0.0)  # type: ignore[arg-type]


def with_landmarks(road: Circuit, circuit: rd.Circuit) -> Circuit:
    """Return the analysis' circuit with the simulator's landmarks and walls on it."""
    marks = []
    for mark in circuit.landmarks:
        along, off = _project(road, mark.x, mark.y, mark.at_m)
        marks.append(Landmark(mark.name, along, off, mark.height_m))
    walls = tuple(_wall(road, circuit, x) for x in circuit.spans if x.kind == "wall")
    return replace(road, landmarks=tuple(marks), spans=(*road.spans, *walls))


def _wall(road: Circuit, circuit: rd.Circuit, wall: rd.Span) -> RoadSpan:
    off = min(wall.left_m, wall.right_m, key=abs)
    first, _ = _project(road, *_beside(circuit, wall.start_m, off), wall.start_m)
    last, off = _project(road, *_beside(circuit, wall.end_m, off), wall.end_m)
    sides = (off + 1.0, off) if off > 0 else (off, off - 1.0)
    return RoadSpan("wall", wall.name, first, last, *sides, height_m=WALL_HIGH_M)


def _project(road: Circuit, x: float, y: float, near: float) -> tuple[float, float]:
    """Place of a point by the foot of its perpendicular, near a place."""
    heading = np.unwrap(road.heading)
    s = near + np.arange(-120.0, 120.0, 0.05)
    grid = np.append(road.s, road.length_m)

    def at(values: Array, close: float) -> Array:
        return np.interp(s % road.length_m, grid, np.append(values, close))

    turn = 2 * np.pi * np.round((heading[-1] - heading[0]) / (2 * np.pi))
    head = at(heading, heading[0] + turn)
    dx, dy = x - at(road.x, road.x[0]), y - at(road.y, road.y[0])
    i = int(np.argmin(np.abs(dx * np.cos(head) + dy * np.sin(head))))
    off = float(-dx[i] * np.sin(head[i]) + dy[i] * np.cos(head[i]))
    return float(s[i] % road.length_m), off


def find_planted(session: Session, seed: int) -> list[Planted]:
    """Work out, for every planted reference, how far the other kinds lie."""
    out = []
    for (corner, action), ref in session.truth.references.items():
        if action != "brake":
            continue
        anchor = session.truth.anchors[(corner, "brake")]
        acts = _acts(session, corner)
        noise = np.array([corner_noise(session.driver, seed, a.lap, corner).brake_s for a in acts])
        when = np.array([a.brake_start_s for a in acts]) - noise
        parts = [_part(session, t) for t in when]
        late = _late(session, parts, ref, anchor)
        met = _met(late, ref.kind)
        after = {a.lap: float(x) for a, x in zip(acts, late + noise, strict=True)}
        out.append(
            Planted(
                corner, ref.kind, float(noise.std(ddof=1)),
                {lap: x for (lap, x), is_met in zip(after.items(), met, strict=True) if is_met},
                _apart(session, parts), bool(met.mean() >= 0.9),
            )
        )  # fmt: skip
    return out


def _acts(session: Session, corner: int) -> list[CornerTruth]:
    """One braking for each timed lap: that nearest to where the corner is usually braked for."""
    own: dict[int, list[CornerTruth]] = {}
    for act in session.truth.corners:
        if act.corner == corner and act.braked and 1 <= act.lap <= len(session.truth.lap_times):
            own.setdefault(act.lap, []).append(act)
    usual = np.median([max(a.brake_start_m for a in acts) for acts in own.values()])
    return [min(acts, key=lambda a: abs(a.brake_start_m - usual)) for acts in own.values()]


def _met(late: Array, what: str) -> NDArray[np.bool_]:
    """Tell on which laps the driver acted on his reference."""
    if what == "place":
        return np.isfinite(late)
    usual = np.nanmedian(late) if np.isfinite(late).any() else np.nan
    return np.abs(late - usual) < (0.02 if KINDS[what] == "state" else 0.05)


def _late(session: Session, parts: list[Array], ref: Reference, anchor: Array) -> Array:
    """How much later than the planted event the noiseless trigger came, lap by lap."""
    _, a, b, _, d, _ = anchor
    end = _wall_end(session.circuit, ref.landmarks[0]) if ref.kind == "view" else None
    if end is not None:
        return _late_past(session, parts, ref.landmarks[0], end)
    if ref.kind in ("place", "view"):
        return np.array([-_passed(p, a) for p in parts])
    if ref.kind == "alignment":
        marks = {m.name: m for m in session.circuit.landmarks}
        two = np.array([[marks[n].x, marks[n].y] for n in ref.landmarks])
        pair = np.array([0]), np.array([1])
        return np.array([-_line_ups(p, two, *pair)[0] for p in parts])
    out = []
    for p in parts:
        p = p[p[:, ly.O_S] >= d]
        if ref.kind == "speed":
            met = b * (p[:, ly.O_VX] - a) >= 0
        else:
            armed = np.maximum.accumulate(np.abs(p[:, ly.O_STEER]) > 1.5 * a)
            met = armed & (np.abs(p[:, ly.O_STEER]) <= a)
        out.append(-p[np.argmax(met), ly.O_T] if met.any() else np.nan)
    return np.array(out)


def _late_past(session: Session, parts: list[Array], name: str, end: tuple[float, float]) -> Array:
    """Take a thing to show when it stands in line with the end of the wall before it."""
    mark = next(m for m in session.circuit.landmarks if m.name == name)
    two, pair = np.array([end, (mark.x, mark.y)]), (np.array([0]), np.array([1]))
    return np.array([-_line_ups(p, two, *pair)[0] for p in parts])


def _apart(session: Session, parts: list[Array]) -> dict[str, float]:
    """By kind: smallest standard deviation of the noiseless trigger about a candidate, s."""
    late = {
        "place": [_late_place(parts)],
        "state": _in_time(_late_states(parts), FELT_S),
        "alignment": _in_time(_late_alignments(session, parts), LOOKED_S),
        "view": _late_views(session, parts),
    }
    return {kind: min((_spread(x) for x in xs), default=np.inf) for kind, xs in late.items()}


def _spread(late: Array) -> float:
    there = late[np.isfinite(late)]
    if there.size < 0.8 * late.size:
        return np.inf
    off = np.sort(np.abs(there - np.median(there)))[: int(np.ceil(0.95 * there.size)) - 1]
    return float(np.sqrt(np.mean(off**2)))  # one lap in twenty is not the rule


def _part(session: Session, when: float) -> Array:
    """Cut the motion about a trigger; the rows' first column becomes seconds from it."""
    t = session.rows[:, ly.O_T]
    a, b = np.searchsorted(t, [when - 12.0, when + LOOK_ON_S])
    part = session.rows[a:b].copy()
    part[:, ly.O_T] -= when
    length = session.circuit.length_m  # what lies before the start line counts below zero
    part[part[:, ly.O_S] > part[-1, ly.O_S] + 0.5 * length, ly.O_S] -= length
    return part


def _now(parts: list[Array], column: int, when: float = 0.0) -> Array:
    return np.array([np.interp(when, p[:, ly.O_T], p[:, column]) for p in parts])


def _late_place(parts: list[Array]) -> Array:
    s = _now(parts, ly.O_S)
    return (s - s.mean()) / _now(parts, ly.O_VX)


def _in_time(late: list[Array], longest: float) -> list[Array]:
    """Leave out what usually comes too long before, or clearly after, to be acted on."""
    usual = [float(np.median(x[np.isfinite(x)])) if np.isfinite(x).any() else np.inf for x in late]
    return [x for x, at in zip(late, usual, strict=True) if -0.1 <= at <= longest]


def _late_states(parts: list[Array]) -> list[Array]:
    out = []
    for lead in (0.1, 0.25):
        v, gain = _now(parts, ly.O_VX, -lead), _now(parts, ly.O_VX, -lead - 0.4)
        out.append((v - np.median(v)) / np.maximum(np.abs(v - gain) / 0.4, 0.2))
    for column, levels in ((ly.O_STEER, (0.006, 0.012, 0.025)), (ly.O_AY, (2.0, 5.0, 8.0))):
        out += [np.array([-_last_down(p, column, level) for p in parts]) for level in levels]
    out.append(np.array([-_last_change(p) for p in parts]))
    return out


def _last_down(part: Array, column: int, level: float) -> float:
    """When a signal's size last came down to a level before the trigger; NaN if long ago."""
    size = np.abs(part[:, column])
    down = np.flatnonzero((size[:-1] > level) & (size[1:] <= level) & (part[1:, ly.O_T] <= 0.0))
    when = float(part[down[-1] + 1, ly.O_T]) if down.size else np.nan
    return when if when > -LOOK_BACK_S else np.nan


def _last_change(part: Array) -> float:
    gear = part[:, ly.O_GEAR]
    change = np.flatnonzero((np.diff(gear) != 0) & (part[1:, ly.O_T] <= 0.0))
    when = float(part[change[-1] + 1, ly.O_T]) if change.size else np.nan
    return when if when > -LOOK_BACK_S else np.nan


def _late_alignments(session: Session, parts: list[Array]) -> list[Array]:
    marks = np.array([[m.x, m.y] for m in session.circuit.landmarks])
    walls = [_wall_line(session.circuit, w) for w in session.circuit.spans if w.kind == "wall"]
    one, two = (np.array(p) for p in zip(*combinations(range(len(marks)), 2), strict=True))
    found = np.array([_line_ups(p, marks, one, two, walls) for p in parts])
    return [-found[:, k] for k in np.flatnonzero(np.isfinite(found).mean(axis=0) >= 0.8)]


def _wall_line(circuit: rd.Circuit, wall: rd.Span) -> Array:
    off = min(wall.left_m, wall.right_m, key=abs)
    return np.array([_beside(circuit, at, off) for at in np.linspace(wall.start_m, wall.end_m, 5)])


def _behind(eyes: Array, marks: Array, wall: Array) -> NDArray[np.bool_]:
    """Tell which marks (m, 2) stand behind a wall as seen from eyes (t, 2), shape (t, m)."""
    to = marks[None] - eyes[:, None]
    out = np.zeros(to.shape[:2], bool)
    for a, b in pairwise(wall):
        along, start = b - a, a - eyes[:, None]
        size = to[..., 0] * along[1] - to[..., 1] * along[0]
        way = (start[..., 0] * along[1] - start[..., 1] * along[0]) / size
        place = (start[..., 0] * to[..., 1] - start[..., 1] * to[..., 0]) / size
        out |= (way > 0) & (way < 1) & (place >= 0) & (place <= 1)
    return out


def _line_ups(
    part: Array, marks: Array, one: Array, two: Array, walls: Sequence[Array] = ()
) -> Array:
    """When pairs ahead stood in line, nearest to the trigger; NaN where they did not.

    Nobody sees through a wall.
    """
    way = part[part[:, ly.O_T] > -LOOK_BACK_S][::20]
    to = marks[None] - way[:, None, [ly.O_X, ly.O_Y]]
    forward = np.stack([np.cos(way[:, ly.O_PSI]), np.sin(way[:, ly.O_PSI])], axis=1)
    along = np.einsum("tmi,ti->tm", to, forward)
    ahead = (along > 5.0) & (along > np.sqrt(0.75) * np.hypot(*np.moveaxis(to, 2, 0)))  # 30°
    for wall in walls:
        ahead &= ~_behind(way[:, [ly.O_X, ly.O_Y]], marks, wall)
    cross = to[:, one, 0] * to[:, two, 1] - to[:, one, 1] * to[:, two, 0]
    flip = (cross[1:] * cross[:-1] < 0) & (ahead[1:, one] & ahead[1:, two])
    t = way[1:, ly.O_T, None] - 0.02 * cross[1:] / np.where(flip, cross[1:] - cross[:-1], np.inf)
    gap = np.where(flip, np.abs(t), np.inf)
    row, pair = np.argmin(gap, axis=0), np.arange(one.size)
    return np.where(np.isfinite(gap[row, pair]), t[row, pair], np.nan)


def _late_views(session: Session, parts: list[Array]) -> list[Array]:
    s, v = _now(parts, ly.O_S), _now(parts, ly.O_VX)
    out = []
    ahead = (b for b in session.circuit.bends if b.apex_m > float(np.median(s)))
    bend = next(ahead, session.circuit.bends[0])
    ground = float(_row(session.circuit, bend.apex_m)[ly.GZ])
    apex = rd.Landmark("apex", bend.apex_m, 0.0, 0.0, 0.0, 0.0, ground)
    for mark in (*session.circuit.landmarks, apex):
        end = _wall_end(session.circuit, mark.name)
        if end is not None:
            late = _late_past(session, parts, mark.name, end)
            out += [late] if np.isfinite(late).mean() >= 0.8 else []
            continue
        try:
            alone = replace(session.circuit, landmarks=(mark,))
            place = sight.view_place(alone, mark.name, float(np.median(s)))
        except ValueError:
            continue
        lead = (float(np.median(s)) - place) / float(np.median(v))
        if 0.1 <= lead <= LOOKED_S:
            out.append(np.array([-_passed(p, place) for p in parts]))
    return out


def _passed(part: Array, place: float) -> float:
    return float(np.interp(place, part[:, ly.O_S], part[:, ly.O_T]))


@dataclass(frozen=True)
class Case:
    """One planted reference and what was found for it; the hand's standard deviation as planted."""

    planted: Planted
    found: ActionReferences
    hand_s: float = np.nan

    @property
    def first(self) -> str:
        return self.found.repeats[0].kind

    @property
    def own_scatter_s(self) -> float:
        """Scatter found for the planted kind; infinite where it is not offered."""
        own = [r.scatter_s for r in self.found.repeats if r.what == SAID[self.planted.what]]
        return min(own, default=np.inf)


SAID = {"straight": "straight_steering"}
SAID |= {what: what for what in KINDS if what not in SAID}


def pair_up(
    session: Session, planted: Sequence[Planted], road: Circuit,
    found: Mapping[str, Sequence[ActionReferences]],
) -> list[Case]:  # fmt: skip
    """Bring planted references together with those found, corners by the nearest apex.

    The planted scatter is taken over the laps that the found one names.
    """
    out = []
    for one in planted:
        apex = session.circuit.bends[one.corner - 1].apex_m
        corner = min(road.corners, key=lambda c: abs(c.apex_m - apex))
        own = [f for f in found[corner.id] if f.action == "brake_start_m"]
        if one.acted_on and own and own[0].repeats:
            laps = {int(lap) for lap in own[0].laps}
            after = {lap: x for lap, x in one.after_s.items() if lap in laps}
            out.append(Case(replace(one, after_s=after), own[0]))
    return out
