"""What must not matter to the ledger, and what it says with fewer channels.

Circuit, car, driver and faults are the demo's, all invented. Planted truth is in
``test_ledger_planted.py``, and in ``bench/bench_ledger.py`` for many more faults.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lapwright.demo import Fault, Sensors, make_session
from lapwright.demo.writing import Style
from lapwright.driving.actions import find_passes
from lapwright.driving.ledger import Account, Ledger, find_ledger
from lapwright.readers.circuit_files import read_circuit
from lapwright.workflow.log_options import LogOptions
from lapwright.workflow.session import build_session, read_recordings

FAULTS = (
    Fault("early_braking", 5, 2, 14.0), Fault("slow_release", 8, 3, 0.6),
    Fault("line", 7, 4, 1.5), Fault("late_throttle", 2, 5, 7.0),
)  # fmt: skip
LAPS = 6
#: Places for the start line, m, and corners behind them that come before the old line: on the
#: straight between the fourth and the fifth corner, and in the middle of the fifth.
ELSEWHERE = ((1560.0, ("6", "7", "8", "9", "10")), (None, ("7", "8", "9", "10")))
#: The log in other units: km/h against mi/h, m/s² against g, shares against percent.
IN_SI = {
    name: (name, unit, factor, 7)
    for name, unit, factor in (
        ("x", "m", 1.0), ("y", "m", 1.0), ("z", "m", 1.0), ("speed", "m/s", 1.0),
        ("yaw_rate", "rad/s", 1.0), ("steering", "rad", 1.0), ("throttle", "1", 1.0),
        ("brake_pressure", "Pa", 1.0), ("acceleration_left", "m/s2", 1.0), ("gear", "", 1.0),
    )
}  # fmt: skip
IN_OTHERS = {
    name: (name, unit, factor, 7)
    for name, unit, factor in (
        ("x", "ft", 1 / 0.3048), ("y", "ft", 1 / 0.3048), ("z", "ft", 1 / 0.3048),
        ("speed", "mph", 3.6 / 1.609344), ("yaw_rate", "deg/s", 180 / np.pi),
        ("steering", "deg", 180 / np.pi), ("throttle", "%", 100.0),
        ("brake_pressure", "psi", 1 / 6894.757293),
        ("acceleration_left", "g", 1 / 9.80665), ("gear", "", 1.0),
    )
}  # fmt: skip


@pytest.fixture(scope="module")
def session() -> Any:
    return make_session("coach", LAPS, 21, faults=FAULTS, costs=False)


@pytest.fixture(scope="module")
def found(simulated: Any, session: Any) -> Any:
    return simulated.analyse(session)


def held(found: Any, against: Sequence[str] = ()) -> Ledger:
    return find_ledger(found.driven.circuit, found.laps, found.passes, against_laps=against)


@pytest.fixture(scope="module")
def base(found: Any) -> str:
    return str(found.laps[0].id)


@pytest.fixture(scope="module")
def ledger(found: Any, base: str) -> Ledger:
    return held(found, [base])


def by_corner(account: Account) -> dict[str, float]:
    out: dict[str, float] = {}
    for row in account.rows:
        out[row.corner] = out.get(row.corner, 0.0) + row.cost_s
    return out


def differences(one: Sequence[Account], other: Sequence[Account]) -> list[float]:
    second = {(a.lap, a.against): by_corner(a) for a in other}
    return [
        abs(cost - second[a.lap, a.against].get(corner, 0.0))
        for a in one for corner, cost in by_corner(a).items()
    ]  # fmt: skip


def test_the_difference_to_a_lap_is_that_of_the_lap_times(
    ledger: Ledger, found: Any, base: str
) -> None:
    times = {lap.id: lap.time_s for lap in found.laps}
    against = [a for a in ledger.accounts if a.against == f"lap:{base}"]
    assert len(against) == len(found.laps) - 1
    for one in against:
        assert one.difference_s == pytest.approx(times[one.lap] - times[base], abs=0.003)
        rows = sum(r.cost_s for r in one.rows)
        assert rows + one.straight_s == pytest.approx(one.difference_s, abs=1e-6)


def test_half_the_rate_changes_little(
    simulated: Any, session: Any, ledger: Ledger, base: str
) -> None:
    slow = held(simulated.analyse(session, Sensors(rate_hz=50.0)), [base])
    apart = differences(ledger.accounts, slow.accounts)
    assert len(apart) > 100
    assert np.quantile(apart, 0.9) < 0.010


@pytest.mark.parametrize(("place_m", "behind"), ELSEWHERE, ids=["on a straight", "in a corner"])
def test_the_start_line_may_lie_elsewhere(
    simulated: Any, session: Any, found: Any, ledger: Ledger, base: str,
    place_m: float | None, behind: tuple[str, ...],
) -> None:  # fmt: skip
    road, first = found.driven.circuit, found.laps[0].track
    at = next(c.apex_m for c in road.corners if c.id == "5") if place_m is None else place_m
    to_there = float(np.interp(at, first.s, first.time))
    place = tuple(float(np.interp(at, road.s, x)) for x in (road.x, road.y))
    moved = simulated.analyse(session, start=place)

    def same(lap_id: str) -> str:
        start = next(lap.start_s for lap in found.laps if lap.id == lap_id) + to_there
        return str(min(moved.laps, key=lambda lap: abs(lap.start_s - start)).id)

    def name(corner: str) -> str:
        apex = next(c.apex_m for c in road.corners if c.id == corner) - at
        corners = moved.driven.circuit.corners
        return str(min(corners, key=lambda c: abs(c.apex_m - apex % road.length_m)).id)

    there = {a.lap: by_corner(a) for a in held(moved, [same(base)]).accounts[-LAPS:]}
    apart = [
        abs(by_corner(a).get(corner, 0.0) - there[same(a.lap)].get(name(corner), 0.0))
        for a in ledger.accounts if a.against == f"lap:{base}" and same(a.lap) in there
        for corner in behind
    ]  # fmt: skip
    assert len(apart) >= 16
    assert np.quantile(apart, 0.9) < 0.005


def test_units_do_not_matter(session: Any, tmp_path: Path) -> None:
    ledgers = []
    for i, columns in enumerate((IN_SI, IN_OTHERS)):
        only = {name: session.log.channels[name] for name in columns}
        log = replace(session.log, channels=only)
        paths = replace(session, log=log).write(tmp_path / str(i), Style(columns=columns))
        road = read_circuit([paths.survey])
        driven = build_session(read_recordings([paths.log], LogOptions()), circuit=road)
        passes = find_passes(driven.circuit, driven.laps)
        ledgers.append(find_ledger(driven.circuit, driven.laps, passes))
    one, other = (ledger.accounts for ledger in ledgers)
    assert len(one) == len(other) >= LAPS
    apart = differences(one, other)
    assert len(apart) > 50
    assert max(apart) < 0.005


def test_without_pedals_rows_say_what_else_they_may_be(found: Any) -> None:
    bare = [
        replace(lap, traces={k: t for k, t in lap.traces.items() if k not in ("throttle", "brake")})
        for lap in found.laps
    ]
    circuit = found.driven.circuit
    accounts = find_ledger(circuit, bare, find_passes(circuit, bare)).accounts
    rows = [r for a in accounts for r in a.rows]
    alike = {"early_braking", "soft_braking", "coasting"}
    braked = [r for r in rows if r.cause in alike]
    assert braked
    assert all(alike <= {r.cause, *r.merged} for r in braked)
    assert not any(r.merged for r in rows if r.cause in ("line", "unexplained"))
    lap = next(lap.id for lap in bare if lap.number == 2)
    early = [r for a in accounts if a.lap == lap for r in a.rows if r.corner == "5"]
    assert max(early, key=lambda r: r.cost_s).cause in alike


def test_with_pedals_no_row_is_merged(ledger: Ledger) -> None:
    assert not any(r.merged for a in ledger.accounts for r in a.rows)


def test_one_lap_alone_has_no_account(found: Any) -> None:
    assert find_ledger(found.driven.circuit, found.laps[:1], found.passes).accounts == ()
    assert find_ledger(found.driven.circuit, [], ()).accounts == ()
