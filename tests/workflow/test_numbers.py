"""Every number in a sentence of a guide stands in its guide.json. Circuit, driver: the demo's."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from lapwright.demo import make_session
from lapwright.guide.unit_system import choose_unit_system
from lapwright.readers.circuit_files import read_circuit
from lapwright.workflow import guide as workflow
from lapwright.workflow.demo import furnish


def walk(tree: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    """Walk over the leaves of plain data; a sentence with its values is a leaf."""
    if isinstance(tree, dict) and set(tree) >= {"t", "v"}:
        yield path, tree
    elif isinstance(tree, dict):
        for key, part in tree.items():
            yield from walk(part, (*path, str(key)))
    elif isinstance(tree, list | tuple):
        for part in tree:
            yield from walk(part, path)
    else:
        yield path, tree


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], dict[str, Any]]:
    """A guide's view as the page takes it, and its guide.json."""
    session = make_session("coach", 7, 20)
    paths = session.write(tmp_path_factory.mktemp("numbers"))
    circuit = furnish(read_circuit([paths.survey]), paths.landmarks, paths.spans)
    views: list[dict[str, Any]] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(workflow, "render_html", lambda view: views.append(view) or b"")
        guide = workflow.make_guide(
            [paths.log], choose_unit_system("metric"),
            workflow.GuideOptions(start=(0.0, 0.0)), circuit=circuit,
        )  # fmt: skip
    return views[0], json.loads(guide.files["guide.json"])


def test_every_number_in_a_sentence_stands_in_the_document(
    made: tuple[dict[str, Any], dict[str, Any]],
) -> None:
    view, document = made
    numbers = np.unique([
        abs(float(leaf)) for _, leaf in walk(document)
        if isinstance(leaf, int | float) and not isinstance(leaf, bool)
    ])  # fmt: skip
    said = [
        (path, text, abs(float(value[0])))
        for part in ("words", "order_of_work", "ledger")
        for path, text in walk(view[part], (part,))
        if isinstance(text, dict)
        for value in text["v"] if value[0] is not None
    ]  # fmt: skip
    assert len(said) > 1000
    at = np.searchsorted(numbers, [x for *_, x in said]).clip(1, numbers.size - 1)
    missing = {
        (".".join(path), text["t"])
        for (path, text, x), i in zip(said, at, strict=True)
        if min(abs(numbers[i - 1] - x), abs(numbers[i] - x)) > 1e-5 * max(1.0, x)
    }
    assert sorted(missing) == []
