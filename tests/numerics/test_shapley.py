"""Shares by orders against games whose values are in the textbooks, and by brute force."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from lapwright.numerics.shapley import share_by_orders


def game(m: int, worth: object) -> np.ndarray:
    sets = [frozenset(i for i in range(m) if code >> i & 1) for code in range(1 << m)]
    return np.array([worth(s) for s in sets], float)  # type: ignore[operator]


def test_glove_game() -> None:
    # one left glove (0), two right ones: 2/3, 1/6, 1/6 (Shapley 1953, in every textbook; memory)
    values = game(3, lambda s: float(0 in s and (1 in s or 2 in s)))
    assert share_by_orders(values) == pytest.approx([2 / 3, 1 / 6, 1 / 6])


def test_airport_game() -> None:
    # runways of 8, 11, 13 and 18: 2, 3, 4 and 9 (Littlechild and Owen 1973; memory): each
    # piece of runway is shared among those who need it
    cost = [8.0, 11.0, 13.0, 18.0]
    values = game(4, lambda s: max((cost[i] for i in s), default=0.0))
    assert share_by_orders(values) == pytest.approx([2.0, 3.0, 4.0, 9.0])


@pytest.mark.parametrize("m", [0, 1, 2, 5])
def test_mean_over_all_orders_adds_up(m: int) -> None:
    values = np.random.default_rng(m).normal(size=1 << m)
    expected = np.zeros(m)
    orders = list(permutations(range(m)))
    for order in orders:
        code = 0
        for i in order:
            expected[i] += (values[code | 1 << i] - values[code]) / len(orders)
            code |= 1 << i
    shares = share_by_orders(values)
    assert shares == pytest.approx(expected)
    assert shares.sum() == pytest.approx(values[-1] - values[0])


def test_values_that_are_no_sets_are_refused() -> None:
    with pytest.raises(ValueError, match="2\\*\\*m"):
        share_by_orders(np.zeros(3))
