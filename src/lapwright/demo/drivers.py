"""Drivers, faults, references and days: what a scenario may choose."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

Cause = Literal[
    "early_braking", "late_braking", "soft_braking", "fast_release", "slow_release", "coasting",
    "slow_minimum", "line", "late_throttle", "stepped_throttle", "throttle_dip", "lift", "gear",
    "correction",
]  # fmt: skip
Action = Literal["lift", "brake", "throttle"]
Kind = Literal["place", "straight", "speed", "alignment", "view"]

#: Usual size of each fault and its unit.
FAULT_SIZES: Mapping[str, tuple[float, str]] = MappingProxyType(
    {
        "early_braking": (12.0, "m earlier at the usual level, then held"),
        "late_braking": (14.0, "m later"),
        "soft_braking": (0.15, "share of the usual level missing, begun earlier for it"),
        "fast_release": (0.40, "share of the highest brake that is let go of at once"),
        "slow_release": (0.8, "s by which a light brake is dragged on after its usual end"),
        "coasting": (0.7, "s from full throttle to the brake on top of the usual"),
        "slow_minimum": (1.5, "m/s"),
        "line": (1.2, "m further from the inside at the apex"),
        "late_throttle": (6.0, "m later than the throttle usually opens past a fifth"),
        "stepped_throttle": (0.6, "s on a plateau"),
        "throttle_dip": (0.5, "share taken back for 0.4 s"),
        "lift": (0.5, "share taken back for 0.5 s at the corner's start"),
        "gear": (1.0, "gears too high"),
        "correction": (8.0, "m/s² of lateral acceleration asked too much and too little"),
    }
)


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: its cause, the corner's number, the timed lap (1, 2, …) and its size."""

    cause: Cause
    corner: int
    lap: int
    size: float | None = None

    @property
    def amount(self) -> float:
        """The size, or the usual one of this cause."""
        if self.cause not in FAULT_SIZES:
            raise ValueError(f"cause: {self.cause!r} is none of {', '.join(FAULT_SIZES)}")
        return FAULT_SIZES[self.cause][0] if self.size is None else self.size


@dataclass(frozen=True, slots=True)
class Habit:
    """The same fault on every lap."""

    cause: Cause
    corner: int
    size: float | None = None


@dataclass(frozen=True, slots=True)
class Reference:
    """What an action is taken on.

    ``place``: a landmark. ``straight``: the hand wheel back within ``value`` rad
    of straight. ``speed``: a speed of ``value`` m/s reached. ``alignment``: two
    landmarks in line from the driver's eye. ``view``: a landmark coming into view
    over the road, or past the end of a wall where one hides it. The action follows it
    by the time or distance that puts it, on the plan, where the driver wants it.
    ``foreseen``: whether a line-up is acted on from afar, by the line driven at the action;
    otherwise it is waited for, and the action follows by a time.
    """

    kind: Kind
    landmarks: tuple[str, ...] = ()
    value: float = 0.0
    foreseen: bool = True


@dataclass(frozen=True, slots=True)
class Driver:
    """A driver's skill and scatter.

    Parameters
    ----------
    share
        Share of the car's quasi-steady grip that he plans to use in cornering and drive.
    brake_share
        Share of that again that he uses when braking.
    time_s
        Standard deviation of the time of his actions in s.
    share_spread, level_spread
        Standard deviation of the shares from corner to corner and lap to lap.
    line_m
        Standard deviation of his line at entry, apex and exit in m.
    margin_m
        Distance that his middle keeps from the edges (half a car is 0.8 m).
    line_share
        1 uses the road up to the margin, 0 stays in the middle.
    ramp_s
        Time in which he opens the throttle where grip allows.
    foot_s
        Time from leaving the throttle to touching the brake.
    wheel
        Standard deviation of the unrest of his hands, m/s² of lateral acceleration.
    """

    name: str
    share: float = 1.0
    brake_share: float = 1.08
    time_s: float = 0.012
    share_spread: float = 0.003
    level_spread: float = 0.006
    line_m: float = 0.08
    margin_m: float = 1.15
    line_share: float = 1.0
    ramp_s: float = 0.35
    foot_s: float = 0.08
    wheel: float = 0.12
    follow: float = 2.6
    habits: tuple[Habit, ...] = ()
    references: tuple[tuple[int, Action, Reference], ...] = ()


@dataclass(frozen=True, slots=True)
class Day:
    """Conditions, known in the truth.

    ``grip`` is a factor at the session's start, ``grip_per_lap`` its change and
    ``grip_spread`` its scatter from lap to lap; ``extra_kg`` comes on top of the
    car (driver and fuel) and falls by ``fuel_kg_per_lap``; wind in m/s is the
    direction of the moving air in the plane's axes.
    """

    grip: float = 1.0
    grip_per_lap: float = 0.0
    grip_spread: float = 0.0
    extra_kg: float = 110.0
    fuel_kg_per_lap: float = 1.6
    wind_x: float = 0.0
    wind_y: float = 0.0
    wind_spread: float = 0.0
    temperature_c: float = 20.0
    pressure_pa: float = 100500.0

    @property
    def density(self) -> float:
        """Density of dry air in kg/m³ by the ideal gas law."""
        return self.pressure_pa / (287.05 * (self.temperature_c + 273.15))


_COACH_REFERENCES: tuple[tuple[int, Action, Reference], ...] = (
    (1, "brake", Reference("place", ("first hundred board",))),
    (3, "brake", Reference("place", ("Heron hundred board",))),
    (5, "brake", Reference("view", ("barn door",))),
    (10, "brake", Reference("place", ("new asphalt seam",))),
    (7, "brake", Reference("straight", value=0.006)),
    (11, "brake", Reference("alignment", ("sluice post", "mill chimney"))),
    (2, "throttle", Reference("speed")),
    (3, "throttle", Reference("speed")),
)

DRIVERS: Mapping[str, Driver] = MappingProxyType(
    {
        "coach": Driver("Maren Holt", references=_COACH_REFERENCES),
        "hasty": Driver(
            "Tibor Lasse",
            0.985,
            1.0,
            0.030,
            0.010,
            0.015,
            0.30,
            ramp_s=0.22,
            foot_s=0.05,
            wheel=0.3,
        ),
        "learner": Driver(
            "Orla Finch",
            0.86,
            0.80,
            0.040,
            0.012,
            0.03,
            0.45,
            1.7,
            0.85,
            0.9,
            0.30,
            0.35,
            habits=(Habit("coasting", 1, 0.4), Habit("late_throttle", 3, 10.0)),
        ),
        "pupil 1": Driver(
            "Anselm Roe",
            0.95,
            0.90,
            0.025,
            0.006,
            0.012,
            0.20,
            1.3,
            0.97,
            0.5,
            0.12,
            0.2,
            habits=(Habit("early_braking", 1), Habit("stepped_throttle", 11)),
        ),
        "pupil 2": Driver(
            "Britt Oduya",
            0.94,
            0.94,
            0.020,
            0.005,
            0.010,
            0.18,
            1.3,
            0.97,
            0.45,
            0.12,
            0.2,
            habits=(Habit("fast_release", 3), Habit("late_throttle", 11)),
        ),
        "pupil 3": Driver(
            "Caspar Wynn",
            0.96,
            0.86,
            0.025,
            0.006,
            0.015,
            0.22,
            1.25,
            0.98,
            0.5,
            0.15,
            0.2,
            habits=(Habit("lift", 9), Habit("slow_minimum", 6)),
        ),
        "pupil 4": Driver(
            "Dita Marlowe",
            0.92,
            0.92,
            0.030,
            0.008,
            0.015,
            0.28,
            1.4,
            0.95,
            0.6,
            0.15,
            0.25,
            habits=(Habit("line", 2), Habit("coasting", 10)),
        ),
        "pupil 5": Driver(
            "Edgar Solberg",
            0.93,
            0.90,
            0.028,
            0.007,
            0.014,
            0.25,
            1.35,
            0.96,
            0.5,
            0.15,
            0.25,
            habits=(Habit("throttle_dip", 8), Habit("gear", 3)),
        ),
    }
)
