"""JSON bytes: gaps are null, numbers keep what they mean, the same in gives the same out."""

from __future__ import annotations

import json

import numpy as np
import pytest

from lapwright.publish.json import render_json


def test_numpy_and_numbers_that_are_not_finite():
    document = {"a": np.array([1.0, np.nan, np.inf]), "n": np.int64(3), "t": (True, None), 4: "é<"}
    assert json.loads(render_json(document)) == {
        "a": [1.0, None, None], "n": 3, "t": [True, None], "4": "é<"
    }  # fmt: skip


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (1 / 3, "0.333333"), (2000 / 3, "666.666667"), (-0.0, "0.0"), (1e300, "1e+300"),
        (1.23456789e-5, "1.23457e-05"), (1e-320, "1e-320"),
    ],
)  # fmt: skip
def test_numbers_are_rounded_and_small_ones_keep_six_digits(value: float, written: str):
    assert render_json({"v": value}).decode().split(": ")[1].split("\n")[0] == written


def test_the_same_document_gives_the_same_bytes():
    document = {"z": [1.1, 2.2], "a": {"b": np.float64(0.1) + 0.2}}
    assert render_json(document) == render_json(document)
    assert render_json(document).endswith(b"}\n")
