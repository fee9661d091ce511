"""Events in sampled signals: invented signals whose events are known."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapwright.numerics.events import crossing_time, fill_gaps, find_runs


def test_run_reaches_back_to_where_the_lower_level_was_passed():
    values = np.array([0, 0.05, 0.2, 0.6, 0.9, 0.3, 0.2, 0.05, 0, 0.3, 0.2, 0.0])
    assert find_runs(values, 0.5, 0.1) == [(2, 6)]  # the second hump never rises to 0.5


def test_runs_at_both_ends_are_closed():
    assert find_runs(np.array([1.0, 1.0, 0.0, 1.0]), 0.5, 0.1) == [(0, 1), (3, 3)]
    assert find_runs(np.zeros(5), 0.5, 0.1) == []


@given(st.lists(st.floats(0, 1), min_size=1, max_size=60))
def test_runs_hold_all_that_is_high_and_nothing_that_is_low(samples: list[float]):
    values = np.array(samples)
    inside = np.zeros(values.size, bool)
    for a, b in find_runs(values, 0.6, 0.2):
        assert values[a : b + 1].max() >= 0.6
        assert not inside[a : b + 1].any()
        inside[a : b + 1] = True
    assert inside[values >= 0.6].all()
    assert not inside[values <= 0.2].any()


@given(st.floats(-5, 5), st.floats(0.1, 20), st.floats(0.05, 0.95))
def test_a_straight_line_is_crossed_where_it_should_be(base: float, slope: float, share: float):
    time = np.arange(10.0) * 0.1
    level = base + slope * (0.3 + 0.1 * share)
    found = crossing_time(time, base + slope * time, level, 4)
    assert found == pytest.approx(0.3 + 0.1 * share, abs=1e-9)


@pytest.mark.parametrize(("i", "want"), [(0, 5.0), (4, 8.0), (2, 7.0)])
def test_crossings_at_the_ends_and_on_a_flat_stay_on_samples(i: int, want: float):
    assert crossing_time(np.array([5.0, 6.0, 7.0, 8.0]), np.zeros(4), 1.0, i) == want


def test_level_outside_both_samples_keeps_within_the_step():
    time, values = np.array([0.0, 1.0]), np.array([0.0, 1.0])
    assert crossing_time(time, values, 9.0, 1) == 1.0
    assert crossing_time(time, values, -9.0, 1) == 0.0


def test_short_gaps_are_joined_and_long_ones_kept():
    time = np.arange(20.0) * 0.1
    assert fill_gaps([(1, 2), (4, 5), (12, 14)], time, 0.25) == [(1, 5), (12, 14)]
    assert fill_gaps([], time, 0.25) == []
