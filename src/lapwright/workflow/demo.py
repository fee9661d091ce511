"""The invented scenario: its logs, its survey, the coach's guide and the pupils' review."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path
from typing import Final, Literal

from lapwright.demo import write_demo
from lapwright.guide.unit_system import choose_unit_system
from lapwright.model.circuit import Circuit, RoadSpan
from lapwright.readers.circuit_files import read_circuit
from lapwright.workflow.landmarks import place_landmarks, read_landmark_files
from lapwright.workflow.log_options import LogOptions
from lapwright.workflow.outputs import Made, write_outputs
from lapwright.workflow.session import Progress, quiet
from lapwright.workflow.survey import render_circuit

_KINDS: Final[dict[str, Literal["kerb", "patch", "verge"]]] = {
    "kerb": "kerb",
    "patch": "patch",
    "verge": "verge",
}


def make_demo(
    directory: Path, *, units: str = "metric", progress: Progress = quiet
) -> tuple[Made, tuple[Path, ...]]:
    """Write the scenario under ``directory/logs`` and its guide into ``directory``.

    The pupils are held against it in ``directory/review``.
    """
    progress("simulating the invented sessions", 0, 1)
    logs = directory / "logs"
    with write_demo(logs) as written:
        # read while the first session is driven
        from lapwright.workflow.guide import GuideOptions, make_guide
        from lapwright.workflow.review import make_review

        coach = written.wait_for_coach()
        circuit = furnish(read_circuit([coach.survey]), coach.landmarks, coach.spans)
        write_outputs(logs, {"circuit.json": render_circuit(circuit)})
        made = make_guide(
            [coach.log],
            choose_unit_system(units),
            GuideOptions(start=(0.0, 0.0), car=coach.car),
            circuit=circuit,
            progress=progress,
        )
        paths = write_outputs(directory, made.files)
        pupils = written.wait_for_pupils()
        if not pupils:
            return made, paths
        review = make_review(pupils, directory, choose_unit_system(units), progress=progress)
    return made, (*paths, *write_outputs(directory / "review", review.files))


def furnish(circuit: Circuit, landmarks: Path, spans: Path) -> Circuit:
    """Put the scenario's landmarks, kerbs, patches and verges on the circuit."""
    circuit = place_landmarks(circuit, read_landmark_files([landmarks], LogOptions()))
    with spans.open(encoding="utf-8", newline="") as stream:
        stretches = tuple(
            RoadSpan(
                _KINDS[row["kind"]],
                row["name"],
                float(row["start_m"]),
                float(row["end_m"]),
                max(float(row["left_m"]), float(row["right_m"])),
                min(float(row["left_m"]), float(row["right_m"])),
                float(row["grip_factor"]) if row["grip_factor"] else None,
            )
            for row in csv.DictReader(stream)
        )
    return replace(circuit, spans=stretches)
