"""Drivers: how near they go to the car's own envelope, and how alike their laps are."""

import numpy as np
import pytest

from lapwright.demo import DRIVERS, Session, club_car, make_session, proving
from lapwright.demo import envelope as ev
from lapwright.demo import layout as ly


def use(session: Session, lap: int) -> tuple[np.ndarray, np.ndarray]:
    """Share of the envelope in use over a lap where grip limits, and all of it."""
    rows = session.rows[session.truth.lap_of == lap]
    now, car = session.truth.laps[lap].conditions, session.car
    mass = car.mass + now.extra_kg
    v = rows[:, ly.O_VX]
    drag = 0.5 * now.density * car.drag_area * v**2 / mass
    felt = np.column_stack([rows[:, ly.O_FELT_X] + drag, rows[:, ly.O_FELT_Y]])
    share = ev.use_of(
        car, np.column_stack([v, rows[:, ly.O_NORM]]), felt, now.grip, mass, now.density
    )
    phase = rows[:, ly.O_PHASE].astype(int)
    limited = phase >= ly.BRAKING
    # the feet need 0.15 s to move: those moments are nobody's grip
    steady = limited.copy()
    for k in np.flatnonzero(np.diff(phase)):
        steady[max(k - 100, 0) : k + 150] = False
    return share[steady], share[limited]


def test_the_moving_car_reaches_the_envelope_on_a_skid_pad() -> None:
    car = club_car()
    day = np.array([1.0, 0.0, 0.0, 0.0, 1.225])
    side, _, _ = ev.envelope_tables(car, 0.0, 1.225, 1.0)
    for radius in (40.0, 90.0):
        v = proving.ring_limit(car, radius, day, 0.9 * np.sqrt(13.5 * radius))
        column = side[:, np.argmin(np.abs(ev.NORMALS - 9.5))]
        other = side[:, np.argmin(np.abs(ev.NORMALS - 11.0))]
        at_weight = column + (other - column) * (9.80665 - 9.5) / 1.5
        want = np.interp(v, ev.SPEEDS, at_weight)
        assert v**2 / radius == pytest.approx(want, rel=0.02)


def test_the_coach_uses_the_car(coach: Session) -> None:
    means = [use(coach, lap)[0].mean() for lap in range(1, 5)]
    assert np.mean(means) >= 0.97
    assert np.median(use(coach, 2)[1]) >= 0.97


def test_drivers_differ_as_they_should(coach: Session) -> None:
    hasty, learner = (make_session(name, 4, 22, costs=False) for name in ("hasty", "learner"))
    fast, wild, slow = (np.median(s.truth.lap_times) for s in (coach, hasty, learner))
    assert fast < wild < slow
    assert 2.0 < slow - fast < 15.0

    def scatter(session: Session) -> float:
        starts = [
            [c.brake_start_m for c in session.truth.corners if c.corner == k and 1 <= c.lap <= 4]
            for k in (1, 3, 10, 11)
        ]
        return float(np.mean([np.std(s) for s in starts]))

    assert scatter(coach) < 1.0
    assert scatter(hasty) > 1.5 * scatter(coach)
    assert hasty.truth.lap_times.std() > coach.truth.lap_times.std()


def test_pupils_bring_the_car_home() -> None:
    names = [driver.name for driver in DRIVERS.values()]
    assert len(set(names)) == len(names) == 8
    for name in DRIVERS:
        if not name.startswith("pupil"):
            continue  # the others drive in the tests above
        session = make_session(name, 1, 31, costs=False)
        rows, lap_of = session.rows, session.truth.lap_of
        slide = np.arctan2(rows[:, ly.O_VY], np.maximum(rows[:, ly.O_VX], 1.0))
        assert np.degrees(np.abs(slide[lap_of == 1])).max() < 15.0
        assert rows[lap_of == 1, ly.O_VX].min() > 10.0
