"""The demo's scenario: a coach's session with faults, and five pupils."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from lapwright.demo.drivers import DRIVERS, Day, Driver, Fault
from lapwright.demo.sensors import Sensors
from lapwright.demo.session import Session, make_session
from lapwright.demo.writing import Paths, Style

#: Each with the seed of his session.
PUPILS = {name: 99 + i for i, name in enumerate(DRIVERS) if name.startswith("pupil")}

COACH_FAULTS = (
    Fault("early_braking", 1, 3, 10.0),
    Fault("late_throttle", 3, 4),
    Fault("fast_release", 11, 5),
    Fault("stepped_throttle", 11, 6),
    Fault("lift", 9, 6),
    Fault("line", 6, 8),
    Fault("late_braking", 1, 10, 22.0),
)


#: The coach of the demo's guide keeps less than half a car from the edges, so that wheels touch the
#: kerbs inside, and brakes a little more gently for it.
ON_KERBS = replace(DRIVERS["coach"], margin_m=0.7, share=0.99, brake_share=1.03)


@dataclass(frozen=True, slots=True)
class Written:
    """The files of the scenario, which are still being written."""

    coach: Future[Paths]
    pupils: tuple[Future[Path], ...]

    def wait_for_coach(self) -> Paths:
        """Wait for the coach's log and what stands beside the road."""
        return self.coach.result()

    def wait_for_pupils(self) -> tuple[Path, ...]:
        """Wait for the pupils' logs."""
        return tuple(pupil.result() for pupil in self.pupils)


def coach_session(laps: int = 12, seed: int = 20, driver: Driver | None = None) -> Session:
    """Drive the coach's session: good laps, single faults, one lap that ran off the road."""
    faults = tuple(f for f in COACH_FAULTS if f.lap <= laps)
    return make_session(
        driver or DRIVERS["coach"], laps, seed, faults=faults,
        day=Day(grip_spread=0.003, wind_x=1.5, wind_y=-1.0),
        sensors=Sensors(delay_s=0.12, pedal_end=0.97, steering_offset=0.03), costs=False,
    )  # fmt: skip


def _pupil_session(name: str, laps: int) -> Session:
    """Drive the session of a pupil, on a slightly different day."""
    day = Day(grip=0.99, grip_spread=0.004, temperature_c=24.0)
    return make_session(
        name, laps, PUPILS[name], day=day,
        sensors=Sensors(delay_s=0.12, pedal_end=0.97), costs=False,
    )  # fmt: skip


@contextmanager
def write_demo(
    directory: str | Path, laps: int = 12, pupil_laps: int = 6, style: Style | None = None
) -> Iterator[Written]:
    """Write all logs of the scenario and the survey under ``directory``.

    They are being driven on entry, the coach first; all is written on leaving without an error.
    """

    def write_coach() -> Paths:
        return coach_session(laps, driver=ON_KERBS).write(directory, style)

    def write_pupil(name: str) -> Path:
        # the log alone: what stands beside the road is the coach's, and may be being read
        return _pupil_session(name, pupil_laps).write_log(directory, style)

    pool = ThreadPoolExecutor(2)
    try:
        coach = pool.submit(write_coach)
        pupils = tuple(pool.submit(write_pupil, name) for name in PUPILS)
        yield Written(coach, pupils)
        coach.result()
        for pupil in pupils:
            pupil.result()
    finally:
        pool.shutdown(cancel_futures=True)
