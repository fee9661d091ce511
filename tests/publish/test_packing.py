"""Packed arrays come back as they were, within half a step."""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapwright.publish.packing import STEPS, Packer, pack_view


def unpack(note: list[Any], block: bytes) -> Any:
    """Read a note back, written from its description and not from the packer."""
    offset, count, width, order, step, head, missing = note
    planes = np.frombuffer(block, np.uint8, (count - order) * width, offset).reshape(width, -1)
    folded = sum(planes[i].astype(np.int64) << (8 * i) for i in range(width))
    values = np.where(folded % 2 == 1, -(folded + 1) // 2, folded // 2)
    for first in reversed(head):
        values = np.cumsum(np.concatenate([[first], values]))
    out = values * step
    for start, length in zip(missing[::2], missing[1::2], strict=True):
        out[start : start + length] = np.nan
    return out


@given(
    st.lists(st.floats(-3000, 3000) | st.just(float("nan")), min_size=32, max_size=200),
    st.sampled_from(sorted(set(STEPS.values()))),
)
def test_any_numbers_come_back_within_half_a_step(values: list[float], step: float):
    packer = Packer()
    note = packer.pack(values, step)["packed"]
    back = unpack(note, zlib.decompress(packer.deflate(), -15))
    np.testing.assert_allclose(back, values, atol=step * 0.5000001, rtol=0)


def test_two_arrays_share_one_block():
    packer = Packer()
    first, second = np.linspace(0, 5, 40), np.sin(np.arange(50))
    notes = [packer.pack(v, 0.01)["packed"] for v in (first, second)]
    block = zlib.decompress(packer.deflate(), -15)
    for note, values in zip(notes, (first, second), strict=True):
        np.testing.assert_allclose(unpack(note, block), values, atol=0.0051)


def test_a_missing_channel_stays_missing(make_view: Any):
    view = make_view(laps=3)
    packed, _ = pack_view(view)
    lacking = [i for i, lap in view["pictures"]["laps"].items() if lap["throttle"] is None]
    assert len(lacking) == 1
    assert packed["pictures"]["laps"][lacking[0]]["throttle"] is None


def test_a_difference_too_large_to_hold_is_refused():
    with pytest.raises(OverflowError, match="four bytes"):
        Packer().pack([0.0, 1e9] * 20, 1e-3)
