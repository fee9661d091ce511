"""Sharing by the average over all orders, on games whose shares are known."""

from itertools import permutations

import numpy as np
import pytest

from lapwright.numerics.shapley import share_by_orders


def members(code: int, count: int) -> list[int]:
    return [i for i in range(count) if code >> i & 1]


def test_glove_game() -> None:
    # two left gloves and a right one, a pair is worth 1: 1/6, 1/6, 4/6
    # (textbook example after Shapley and Shubik, 1969; from memory)
    values = [float(2 in members(c, 3) and len(members(c, 3)) > 1) for c in range(8)]
    np.testing.assert_allclose(share_by_orders(values), [1 / 6, 1 / 6, 4 / 6])


def test_airport_game() -> None:
    # S. C. Littlechild and G. Owen, 1973: who needs a longer runway pays for its last piece
    # alone; costs 8, 11, 13, 18 (usual worked example, from memory) give 2, 3, 4, 9
    costs = [8.0, 11.0, 13.0, 18.0]
    values = [max((costs[i] for i in members(c, 4)), default=0.0) for c in range(16)]
    np.testing.assert_allclose(share_by_orders(values), [2.0, 3.0, 4.0, 9.0])


@pytest.mark.parametrize("count", [1, 3, 6])
def test_it_is_the_average_over_all_orders(count: int) -> None:
    # the definition itself, written out
    values = np.random.default_rng(count).normal(size=1 << count)
    shares = np.zeros(count)
    orders = list(permutations(range(count)))
    for order in orders:
        code = 0
        for i in order:
            shares[i] += (values[code | 1 << i] - values[code]) / len(orders)
            code |= 1 << i
    np.testing.assert_allclose(share_by_orders(values), shares, atol=1e-12)
    assert share_by_orders(values).sum() == pytest.approx(values[-1] - values[0], abs=1e-12)


def test_nobody_shares_in_nothing() -> None:
    assert share_by_orders([4.0]).size == 0


@pytest.mark.parametrize("values", [[1.0, 2.0, 3.0], [[0.0, 1.0], [1.0, 2.0]]])
def test_values_of_no_game_are_refused(values: list[float]) -> None:
    with pytest.raises(ValueError, match="values: shape"):
        share_by_orders(values)
