"""Reviews against planted truth: goals called rightly, what came, and the other day's grip.

Circuit, pupils, habits and days are the demo's and drawn, all invented. Each pupil leaves two of
three habits off between two sessions on days of different grip; ``python bench_review.py 5`` takes
so many pupils, ``wind`` among the words lets wind and temperature change as well. A pupil takes
about 15 s.

What came is held against two truths. On the first day the very same laps, with their own scatter,
would have gained so much: what is off is of the day taken out. A driver without scatter would gain
so much: no six laps tell that better than they scatter, so the share that even the true day would
reach is printed beside it. The interval is for the latter.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tests" / "workflow"))

import planted_pupils as planted

from lapwright.demo.scenario import coach_session
from lapwright.driving.action_values import subtract
from lapwright.guide.unit_system import choose_unit_system
from lapwright.readers.circuit_files import read_circuit
from lapwright.workflow.guide import GuideOptions, make_guide
from lapwright.workflow.guide_directory import GuideDirectory, read_guide
from lapwright.workflow.outputs import write_outputs
from lapwright.workflow.review import make_review

#: Seeds from here on served no tuning.
FRESH_SEED, PUPILS = 200, 25


def make_coach_guide(root: Path) -> Path:
    """Make the guide of the invented scenario's coach."""
    written = coach_session().write(root / "coach")
    made = make_guide(
        [written.log], choose_unit_system("metric"), GuideOptions(start=(0.0, 0.0)),
        circuit=read_circuit([written.survey]),
    )  # fmt: skip
    write_outputs(root / "guide", made.files)
    return root / "guide"


def review_pupil(root: Path, guide: Path, pupil: planted.Pupil) -> tuple[Any, Any]:
    """Review a pupil's two sessions; return both documents."""
    units, logs = choose_unit_system("metric"), []
    for name, session in (("first", pupil.first), ("second", pupil.second)):
        logs.append(session.write(root / name).log)
    first = make_review(logs[:1], guide, units)
    write_outputs(root / "review", first.files)
    second = make_review(logs[1:], guide, units, since=[root / "review"])
    return first.document, second.document


@dataclass(frozen=True)
class Judged:
    """A goal's verdict and gain, and the truth: of these laps and without their scatter, s."""

    met: bool | None
    sure: bool
    truly_met: bool
    left_off: bool
    came_s: float
    error_s: float
    true_s: float
    calm_s: float

    @property
    def right(self) -> bool:
        """Whether the goal was called rightly."""
        return self.met == self.truly_met


def judge(pupil: planted.Pupil, first: Any, second: Any, base: GuideDirectory) -> list[Judged]:
    """Hold each goal's verdict and gain against the truth."""
    spans = {s["corner"]: (s["start_m"], s["end_m"]) for s in first["drivers"][0]["stretches"]}
    metres, rows = np.arange(pupil.gained_s.size), []
    for goal in second["since"][0]["goals"]:
        corner, action = goal["corner"], goal["action"]
        needed = subtract(goal["goal"], goal["today"], action, base.circuit.length_m)
        came = pupil.changed.get((corner, action), 0.0) * np.sign(needed)
        true = bool(came >= abs(needed) - goal["tolerance"] - 1e-9)
        (gained,) = np.diff(np.interp(spans[corner], metres, pupil.gained_s))
        calm = -pupil.changed.get((corner, "corner_cost_s"), 0.0)
        rows.append(Judged(
            goal["met"], goal["sure"], true, corner in pupil.left_off, goal["realised_s"],
            goal["realised_error_s"], float(gained), calm,
        ))  # fmt: skip
    return rows


def _share(held: list[bool]) -> str:
    return f"{sum(held)} of {len(held)} ({100 * sum(held) / max(len(held), 1):.0f} %)"


def _near(found: float, true: float) -> bool:
    return abs(found - true) <= max(0.03, 0.25 * abs(true))


def _say_gains(rows: list[Judged], whose: str) -> None:
    print(f"what came, within 0.03 s or 25 %, {whose}")
    print(f"  of these laps: {_share([_near(r.came_s, r.true_s) for r in rows])}")
    calm, best = (
        _share([_near(x, r.calm_s) for x, r in zip(own, rows, strict=True)])
        for own in ([r.came_s for r in rows], [r.true_s for r in rows])
    )
    print(f"  without scatter: {calm}; with the true day {best}")


def _say_intervals(rows: list[Judged]) -> None:
    for name, true in (("these laps", "true_s"), ("no scatter", "calm_s")):
        held = [abs(r.came_s - getattr(r, true)) <= 1.645 * r.error_s for r in rows]
        print(f"  its 90 % interval holds the gain of {name}: {_share(held)}")


def main(words: list[str]) -> None:
    """Review all pupils and print the figures."""
    count = next((int(w) for w in words if w.isdigit()), PUPILS)
    rows: list[Judged] = []
    days: list[float] = []
    with TemporaryDirectory() as folder:
        guide = make_coach_guide(Path(folder))
        base = read_guide(guide)
        for seed in range(FRESH_SEED, FRESH_SEED + count):
            pupil = planted.drive_pupil(seed, wind="wind" in words)
            first, second = review_pupil(Path(folder) / str(seed), guide, pupil)
            rows += judge(pupil, first, second, base)
            days.append(second["since"][0]["day"]["grip"] / pupil.grip - 1)
    called = [r for r in rows if r.met is not None]
    sure = [r for r in called if r.sure]
    print(f"{count} pupils, {len(rows)} goals, {len(called)} called met or not met")
    print(f"  called rightly: {_share([r.right for r in called])}; "
          f"of those sure {_share([r.right for r in sure])}")  # fmt: skip
    print(f"  truly met: {_share([r.right for r in called if r.truly_met])}")
    _say_gains(rows, "all goals")
    _say_gains([r for r in rows if r.met], "goals called met")
    _say_gains([r for r in rows if r.left_off], "habits left off")
    _say_intervals(rows)
    print(f"the other day's grip: off by {100 * np.sqrt(np.mean(np.square(days))):.1f} % (rms)")


if __name__ == "__main__":
    main(sys.argv[1:])
