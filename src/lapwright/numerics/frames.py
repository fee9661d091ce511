"""Geodetic coordinates and a local plane, exactly, on the WGS 84 ellipsoid.

A circuit is small: a plane that touches the ellipsoid in its middle distorts
nothing that matters, where a map projection would shorten or stretch every
length by a share of its scale factor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

#: WGS 84 defining constants: semi-major axis (m) and flattening (NIMA TR8350.2).
SEMI_MAJOR_M: Final = 6378137.0
FLATTENING: Final = 1.0 / 298.257223563
_E2: Final = FLATTENING * (2.0 - FLATTENING)
_ROUNDS: Final = 5  # each gains about two and a half digits near the surface


@dataclass(frozen=True, slots=True)
class LocalFrame:
    """A plane that touches the ellipsoid: x east, y north, z up.

    Parameters
    ----------
    latitude, longitude
        Origin in degrees, north and east positive.
    height
        Origin's height above the ellipsoid in metres.
    """

    latitude: float
    longitude: float
    height: float = 0.0


def geodetic_to_local(
    frame: LocalFrame, latitude: ArrayLike, longitude: ArrayLike, height: ArrayLike = 0.0
) -> tuple[Array, Array, Array]:
    """Turn geodetic coordinates into local ones.

    Parameters
    ----------
    frame
        The local plane.
    latitude, longitude
        Degrees, any shapes that broadcast; NaN passes through.
    height
        Metres above the ellipsoid.

    Returns
    -------
    x, y, z
        East, north and up of the origin in metres.
    """
    ecef = _geodetic_to_ecef(latitude, longitude, height)
    x, y, z = _rotation(frame) @ (ecef.reshape(3, -1) - _origin(frame))
    shape = ecef.shape[1:]
    return x.reshape(shape), y.reshape(shape), z.reshape(shape)


def local_to_geodetic(
    frame: LocalFrame, x: ArrayLike, y: ArrayLike, z: ArrayLike = 0.0
) -> tuple[Array, Array, Array]:
    """Turn local coordinates into geodetic ones.

    Parameters
    ----------
    frame
        The local plane.
    x, y, z
        East, north and up of the origin in metres, any shapes that broadcast.

    Returns
    -------
    latitude, longitude, height
        Degrees, degrees, metres above the ellipsoid.
    """
    local = np.stack(np.broadcast_arrays(*(np.asarray(a, np.float64) for a in (x, y, z))))
    ecef = _rotation(frame).T @ local.reshape(3, -1) + _origin(frame)
    return _ecef_to_geodetic(ecef.reshape(local.shape))


def middle_frame(latitude: ArrayLike, longitude: ArrayLike, height: ArrayLike = 0.0) -> LocalFrame:
    """Local plane about the middle of a set of points.

    The middle is that of the box around the points; a set that straddles the
    180th meridian is handled. NaN points are passed over.

    Parameters
    ----------
    latitude, longitude, height
        As in `geodetic_to_local`.

    Raises
    ------
    ValueError
        If no point is finite.
    """
    lat, lon, h = np.broadcast_arrays(
        *(np.asarray(a, float) for a in (latitude, longitude, height))
    )
    good = np.isfinite(lat) & np.isfinite(lon)
    if not good.any():
        raise ValueError("latitude, longitude: no finite point, at least one is needed")
    first = lon[good][0]
    turned = (lon[good] - first + 180.0) % 360.0 - 180.0
    middle = (first + _middle(turned) + 180.0) % 360.0 - 180.0
    heights = h[good][np.isfinite(h[good])]
    return LocalFrame(_middle(lat[good]), float(middle), _middle(heights) if heights.size else 0.0)


def _middle(values: Array) -> float:
    return float(0.5 * (values.min() + values.max()))


def _geodetic_to_ecef(latitude: ArrayLike, longitude: ArrayLike, height: ArrayLike) -> Array:
    """Earth-centred coordinates, shape (3, ...)."""
    lat, lon, h = np.broadcast_arrays(
        np.radians(np.asarray(latitude, np.float64)),
        np.radians(np.asarray(longitude, np.float64)),
        np.asarray(height, np.float64),
    )
    radius = SEMI_MAJOR_M / np.sqrt(1.0 - _E2 * np.sin(lat) ** 2)
    return np.stack(
        [
            (radius + h) * np.cos(lat) * np.cos(lon),
            (radius + h) * np.cos(lat) * np.sin(lon),
            (radius * (1.0 - _E2) + h) * np.sin(lat),
        ]
    )


def _ecef_to_geodetic(ecef: Array) -> tuple[Array, Array, Array]:
    """Latitude, longitude (deg) and height (m) by iteration on the reduced latitude (Bowring)."""
    x, y, z = ecef
    minor = SEMI_MAJOR_M * (1.0 - FLATTENING)
    second = _E2 / (1.0 - _E2)
    p = np.hypot(x, y)
    reduced = np.arctan2(z * SEMI_MAJOR_M, p * minor)
    lat = reduced
    for _ in range(_ROUNDS):
        lat = np.arctan2(
            z + second * minor * np.sin(reduced) ** 3,
            p - _E2 * SEMI_MAJOR_M * np.cos(reduced) ** 3,
        )
        reduced = np.arctan2((1.0 - FLATTENING) * np.sin(lat), np.cos(lat))
    radius = SEMI_MAJOR_M / np.sqrt(1.0 - _E2 * np.sin(lat) ** 2)
    # this form of the height is sound at the equator and at the poles alike
    height = p * np.cos(lat) + z * np.sin(lat) - SEMI_MAJOR_M**2 / radius
    return np.degrees(lat), np.degrees(np.arctan2(y, x)), height


def _origin(frame: LocalFrame) -> Array:
    """Earth-centred coordinates of the origin, shape (3, 1)."""
    return _geodetic_to_ecef([frame.latitude], [frame.longitude], [frame.height])


def _rotation(frame: LocalFrame) -> Array:
    """Rotation from earth-centred to local axes, shape (3, 3)."""
    lat, lon = np.radians([frame.latitude, frame.longitude])
    sa, ca, so, co = np.sin(lat), np.cos(lat), np.sin(lon), np.cos(lon)
    return np.array([[-so, co, 0.0], [-sa * co, -sa * so, ca], [ca * co, ca * so, sa]])
