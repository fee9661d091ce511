"""Geodetic and local coordinates against published lines and geodesy libraries."""

import numpy as np
import pyproj
import pytest
from geographiclib.geodesic import Geodesic

from lapwright.numerics.frames import LocalFrame, geodetic_to_local, local_to_geodetic


def dms(degrees: int, minutes: int, seconds: float) -> float:
    return degrees + minutes / 60.0 + seconds / 3600.0


# Geoscience Australia's geodesic test line (GDA technical manual), ellipsoid GRS 80, whose
# flattening differs from WGS 84's by 1.6e-11 of the axis: 0.1 mm at the pole, nothing here.
FLINDERS = (-dms(37, 57, 3.72030), dms(144, 25, 29.52440))
BUNINYONG = (-dms(37, 39, 10.15610), dms(143, 55, 35.38390))
LINE_LENGTH_M = 54_972.271
LINE_AZIMUTH = dms(306, 52, 5.37)


def test_published_line_length_and_azimuth() -> None:
    frame = LocalFrame(*FLINDERS)
    x, y, z = geodetic_to_local(frame, *BUNINYONG)
    chord = float(np.sqrt(x**2 + y**2 + z**2))
    # An arc of radius R is longer than its chord by s^3 / (24 R^2) (series, next term 1e-7 m);
    # R along this azimuth from Euler's formula.
    lat, azimuth = np.radians(FLINDERS[0]), np.radians(LINE_AZIMUTH)
    e2 = 2 / 298.257223563 - 298.257223563**-2
    w = 1 - e2 * np.sin(lat) ** 2
    meridian, prime = 6378137 * (1 - e2) / w**1.5, 6378137 / np.sqrt(w)
    radius = 1 / (np.cos(azimuth) ** 2 / meridian + np.sin(azimuth) ** 2 / prime)
    assert chord + chord**3 / (24 * radius**2) == pytest.approx(LINE_LENGTH_M, abs=0.002)
    # A geodesic and a plane section differ by hundredths of a second over this distance.
    assert np.degrees(np.arctan2(x, y)) % 360 == pytest.approx(LINE_AZIMUTH, abs=0.05 / 3600)


def test_reference_library_agrees_on_the_published_line() -> None:
    line = Geodesic.WGS84.Inverse(*FLINDERS, *BUNINYONG)
    assert line["s12"] == pytest.approx(LINE_LENGTH_M, abs=0.001)
    assert line["azi1"] % 360 == pytest.approx(LINE_AZIMUTH, abs=0.01 / 3600)


def test_worked_value() -> None:
    # Computed from the closed formula of the earth-centred transformation (project's check list).
    got = geodetic_to_local(LocalFrame(45.0, 9.0, 100.0), 45.01, 9.01, 110.0)
    assert np.allclose(got, (788.3448, 1111.3866, 9.8544), atol=6e-5)


@pytest.mark.parametrize("origin", [(45.0, 9.0, 100.0), (-37.95, 144.42, 30.0), (0.0, 179.99, 0.0)])
def test_against_pyproj(origin: tuple[float, float, float]) -> None:
    rng = np.random.default_rng(5)
    lat = origin[0] + rng.uniform(-0.05, 0.05, 200)
    lon = origin[1] + rng.uniform(-0.05, 0.05, 200)
    height = origin[2] + rng.uniform(-200, 200, 200)
    pipeline = (
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart "
        "+ellps=WGS84 +step +proj=topocentric +ellps=WGS84 "
        f"+lat_0={origin[0]} +lon_0={origin[1]} +h_0={origin[2]}"
    )
    want = pyproj.Transformer.from_pipeline(pipeline).transform(lon, lat, height)
    assert np.allclose(geodetic_to_local(LocalFrame(*origin), lat, lon, height), want, atol=1e-6)


def test_a_map_projection_shortens_five_kilometres_by_two_metres() -> None:
    # Transverse Mercator scale 0.9996 on the central meridian (definition of UTM).
    utm = pyproj.Transformer.from_crs("EPSG:4326", "EPSG:32632", always_xy=True)
    far = local_to_geodetic(LocalFrame(45.0, 9.0), 0.0, 5000.0, 0.0)
    (x0, y0), (x1, y1) = utm.transform(9.0, 45.0), utm.transform(float(far[1]), float(far[0]))
    assert 5000.0 - np.hypot(x1 - x0, y1 - y0) == pytest.approx(2.0, abs=0.05)
