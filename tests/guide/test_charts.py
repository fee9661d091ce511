"""Pictures: one grid along the road; laps sampled by place, not by time."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from lapwright.guide.charts import compose_pictures, count_points, sample_lap


@pytest.fixture(scope="module")
def pictures(invented: Any) -> Any:
    return compose_pictures(invented.make_findings())


# Whole steps of at least 1 m, at most 4000 of them.
@pytest.mark.parametrize(
    ("length", "points"), [(2000.0, 2000), (2840.7, 2840), (4000.0, 4000), (20832.0, 4000)]
)
def test_grid_has_whole_steps(length: float, points: int):
    assert count_points(length) == points
    assert length / points >= 1.0


def test_a_lap_at_even_speed_takes_even_time(pictures: Any, invented: Any):
    """Closed form: at 40 m/s place s is reached after s / 40, whatever the sampling."""
    lap = pictures["laps"]["1"]
    place = np.arange(pictures["points"] + 1) * pictures["step_m"]
    np.testing.assert_allclose(lap["time"], place / invented.SPEED, atol=1e-9)
    np.testing.assert_allclose(lap["throttle"], place[:-1] / invented.LENGTH, atol=1e-9)
    np.testing.assert_allclose(lap["n"], 1.5)


def test_a_gear_holds_until_it_changes(pictures: Any):
    gear = pictures["laps"]["1"]["gear"]
    assert set(gear) == {3.0, 4.0}
    assert np.flatnonzero(np.diff(gear)).size == 1


def test_laps_without_a_time_are_not_drawn(pictures: Any):
    assert "0" not in pictures["laps"]
    assert len(pictures["laps"]) == 11


def test_the_road_closes_and_keeps_its_shape(pictures: Any, invented: Any):
    """Closed form: every point lies on the circle of the invented road."""
    road = pictures["road"]
    radius = invented.LENGTH / (2 * np.pi)
    away = np.hypot(road["x"], road["y"] - radius)
    np.testing.assert_allclose(away, radius, atol=0.01)
    assert road["z"] is not None
    flat = compose_pictures(invented.make_findings(heights=False))["road"]
    assert flat["z"] is flat["slope"] is flat["banking"] is flat["vertical_curvature"] is None


def test_a_gap_at_the_end_is_a_gap(invented: Any):
    lap = invented.make_lap(1, 40.0)
    keep = lap.track.s < 1500.0
    names = lap.track.__slots__
    short = replace(lap.track, **{name: getattr(lap.track, name)[keep] for name in names})
    drawn = sample_lap(replace(lap, time_s=None, traces={}), short, 2000.0, 2000)
    assert np.isfinite(drawn["time"][:1500]).all()
    assert np.isnan(drawn["time"][1510:]).all()
    assert np.isnan(drawn["speed"][1510:]).all()
    assert drawn["throttle"] is None


def test_a_standing_car_does_not_make_time_run_backwards(invented: Any):
    lap = invented.make_lap(1, 40.0)
    s = lap.track.s.copy()
    s[500:520] = s[500]
    drawn = sample_lap(lap, replace(lap.track, s=s), 2000.0, 2000)
    assert (np.diff(drawn["time"]) > 0).all()
