"""A circuit from one lap driven along each edge."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.build_circuit import Edge, build_circuit_from_edges, start_at
from lapwright.model.circuit import Circuit
from lapwright.model.circuit_from_laps import find_laps_in
from lapwright.model.circuit_json import circuit_to_document
from lapwright.model.drive import Drive
from lapwright.publish.json import render_json
from lapwright.workflow.log_options import LogOptions
from lapwright.workflow.session import Progress, build_drives, quiet, read_recordings


def make_survey(
    left: Path,
    right: Path,
    options: LogOptions | None = None,
    *,
    start: tuple[float, float] | None = None,
    progress: Progress = quiet,
) -> Circuit:
    """Build a circuit from a log of a lap along the left edge and one along the right.

    The path driven is taken as the edge. The lap may begin anywhere; what comes before
    and after one closed lap is left out.

    Raises
    ------
    InputError
        If a log holds no closed lap.
    """
    recordings = read_recordings([left, right], options or LogOptions(), progress)
    edges = [_edge(d) for d in build_drives(recordings, None, progress)]
    circuit = build_circuit_from_edges(*edges, name=left.stem)
    return circuit if start is None else start_at(circuit, *start)


def render_circuit(circuit: Circuit) -> bytes:
    """Render a circuit as the bytes of circuit.json."""
    return render_json(circuit_to_document(circuit))


def _edge(drive: Drive) -> Edge:
    spans: Sequence[tuple[int, int]] = find_laps_in(drive.motion)
    if not spans:
        file = drive.recording.file
        found = "no closed lap: no place is passed twice in the same direction"
        to_do = "Drive one whole lap along the edge and a little further"
        raise InputError([Message("refused", file, found, "No circuit was made", to_do)])
    a, b = max(spans, key=lambda span: span[1] - span[0])
    step = max(1, int(drive.motion.rate_hz / 25))
    keep = np.arange(a, b, step)
    keep = keep[drive.motion.speed[keep] > 0.5]
    z = None if drive.height is None else drive.height[keep]
    return Edge(drive.motion.x[keep], drive.motion.y[keep], z)
