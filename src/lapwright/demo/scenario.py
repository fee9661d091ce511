"""The demo's scenario: a coach's session with faults, two other drivers, five pupils."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from lapwright.demo.drivers import DRIVERS, Day, Fault
from lapwright.demo.sensors import Sensors
from lapwright.demo.session import Session, make_session

COACH_FAULTS = (
    Fault("early_braking", 1, 3, 10.0),
    Fault("late_throttle", 3, 4),
    Fault("fast_release", 11, 5),
    Fault("stepped_throttle", 11, 6),
    Fault("lift", 9, 6),
    Fault("line", 6, 8),
    Fault("late_braking", 1, 10, 22.0),
)


@dataclass(frozen=True, slots=True)
class Written:
    """Files of the scenario."""

    coach_log: Path
    other_logs: tuple[Path, ...]
    survey: Path
    landmarks: Path
    spans: Path


def coach_session(laps: int = 12, seed: int = 20) -> Session:
    """Drive the coach's session: good laps, single faults, one lap that ran off the road."""
    faults = tuple(f for f in COACH_FAULTS if f.lap <= laps)
    return make_session(
        "coach", laps, seed, faults=faults, day=Day(grip_spread=0.003, wind_x=1.5, wind_y=-1.0),
        sensors=Sensors(delay_s=0.12, pedal_end=0.97, steering_offset=0.03), costs=False,
    )  # fmt: skip


def _write_other(directory: Path, name: str, seed: int, laps: int) -> Path:
    """Drive and write the session of another driver, on a slightly different day."""
    day = Day(grip=0.99, grip_spread=0.004, temperature_c=24.0)
    session = make_session(
        name, laps, seed, day=day, sensors=Sensors(delay_s=0.12, pedal_end=0.97), costs=False
    )
    return session.write(directory).log


def write_demo(directory: str | Path, laps: int = 12, pupil_laps: int = 6) -> Written:
    """Write all logs of the scenario and the survey under ``directory``."""
    directory = Path(directory)
    others = [name for name in DRIVERS if name != "coach"]
    paths = coach_session(laps).write(directory)
    with ThreadPoolExecutor(2) as pool:
        logs = pool.map(
            lambda k: _write_other(directory, others[k], 100 + k, pupil_laps), range(len(others))
        )
        return Written(paths.log, tuple(logs), paths.survey, paths.landmarks, paths.spans)
