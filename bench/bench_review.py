"""Reviews against planted truth: goals called rightly, what came, and the other day's grip.

Circuit, pupils, habits and days are the demo's and drawn, all invented. Each pupil leaves two of
three habits off between two sessions on days of different grip; ``python bench_review.py 5`` takes
so many pupils, ``wind`` among the words lets wind and temperature change as well. A pupil takes
about 15 s.
"""

from __future__ import annotations

import sys
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


def judge(pupil: planted.Pupil, first: Any, second: Any, base: GuideDirectory) -> list[Any]:
    """Hold each goal's verdict and gain against the truth."""
    spans = {s["corner"]: (s["start_m"], s["end_m"]) for s in first["drivers"][0]["stretches"]}
    metres, rows = np.arange(pupil.gained_s.size), []
    for goal in second["since"][0]["goals"]:
        corner, action = goal["corner"], goal["action"]
        needed = subtract(goal["goal"], goal["today"], action, base.circuit.length_m)
        came = pupil.changed.get((corner, action), 0.0) * np.sign(needed)
        true = bool(came >= abs(needed) - goal["tolerance"] - 1e-9)
        (gained,) = np.diff(np.interp(spans[corner], metres, pupil.gained_s))
        rows.append((goal["met"], true, goal["realised_s"] - gained, gained, corner in
                     pupil.left_off, goal["sure"]))  # fmt: skip
    return rows


def _share(rows: list[Any]) -> str:
    right = sum(r[0] == r[1] for r in rows)
    return f"{right} of {len(rows)} ({100 * right / max(len(rows), 1):.0f} %)"


def _within(rows: list[Any]) -> str:
    near = sum(abs(r[2]) <= max(0.03, 0.25 * abs(r[3])) for r in rows)
    return f"{near} of {len(rows)} ({100 * near / max(len(rows), 1):.0f} %)"


def main(words: list[str]) -> None:
    """Review all pupils and print the figures."""
    count = next((int(w) for w in words if w.isdigit()), PUPILS)
    rows, days = [], []
    with TemporaryDirectory() as folder:
        guide = make_coach_guide(Path(folder))
        base = read_guide(guide)
        for seed in range(FRESH_SEED, FRESH_SEED + count):
            pupil = planted.drive_pupil(seed, wind="wind" in words)
            first, second = review_pupil(Path(folder) / str(seed), guide, pupil)
            rows += judge(pupil, first, second, base)
            days.append(second["since"][0]["day"]["grip"] / pupil.grip - 1)
    called = [r for r in rows if r[0] is not None]
    print(f"{count} pupils, {len(rows)} goals, {len(called)} called met or not met")
    print(
        f"  called rightly: {_share(called)}; of those sure {_share([r for r in called if r[5]])}"
    )
    print(f"  truly met: {_share([r for r in called if r[1]])}")
    print(f"what came, within 0.03 s or 25 %: {_within(rows)}; habits left off: "
          f"{_within([r for r in rows if r[4]])}")  # fmt: skip
    print(f"the other day's grip: off by {100 * np.sqrt(np.mean(np.square(days))):.1f} % (rms)")


if __name__ == "__main__":
    main(sys.argv[1:])
