import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapwright.numerics.frames import (
    LocalFrame,
    geodetic_to_local,
    local_to_geodetic,
    middle_frame,
)


@given(
    st.floats(-90, 90),
    st.floats(-180, 180),
    st.floats(-400, 9000),
    st.floats(-2e5, 2e5),
    st.floats(-2e5, 2e5),
    st.floats(-5e3, 2e4),
)
def test_there_and_back(lat: float, lon: float, h: float, x: float, y: float, z: float) -> None:
    frame = LocalFrame(lat, lon, h)
    back = geodetic_to_local(frame, *local_to_geodetic(frame, x, y, z))
    assert np.allclose(back, (x, y, z), atol=1e-6)


def test_axes_point_east_north_up() -> None:
    frame = LocalFrame(45.0, 9.0, 100.0)
    x, y, z = geodetic_to_local(frame, [45.0, 45.001, 45.0], [9.001, 9.0, 9.0], [100.0, 100.0, 105])
    assert x[0] > 70
    assert abs(y[0]) < 0.01
    assert y[1] > 100
    assert abs(x[1]) < 1e-6
    assert z[2] == pytest.approx(5.0)


def test_shapes_and_missing_values_pass_through() -> None:
    x, y, z = geodetic_to_local(LocalFrame(1, 2), np.full((2, 3), 1.0), [2.0, np.nan, 2.0])
    assert x.shape == y.shape == z.shape == (2, 3)
    assert np.isnan(x[:, 1]).all()
    assert np.allclose(y[:, [0, 2]], 0.0, atol=1e-8)


def test_middle_across_the_180th_meridian() -> None:
    frame = middle_frame([10.0, 10.02, np.nan], [179.99, -179.97, 0.0], [5.0, 9.0, np.nan])
    assert frame.latitude == pytest.approx(10.01)
    assert frame.longitude == pytest.approx(-179.99)
    assert frame.height == pytest.approx(7.0)


def test_middle_of_nothing_is_an_error() -> None:
    with pytest.raises(ValueError, match="no finite point"):
        middle_frame([np.nan], [1.0])
