"""The road as a closed ribbon, with its corners and what stands beside it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Turns = Literal["clockwise", "anticlockwise", "crossing"]


@dataclass(frozen=True, slots=True)
class Origin:
    """Where the plane's x = y = 0 lies on the earth: WGS 84 degrees and metres."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Corner:
    """A corner, kept with the circuit so that its number stays.

    All places are metres from the start line along the reference line; a
    corner that spans the line has ``end_m < start_m``. ``found`` is the number under which
    it was found, where notes changed it: "6+7" of corners made one, "5a" of one made two.
    """

    id: str
    name: str
    direction: Literal["left", "right"]
    start_m: float
    apex_m: float
    end_m: float
    complex: str | None = None
    found: str = ""


@dataclass(frozen=True, slots=True)
class Landmark:
    """A named thing beside the road; ``off_m`` is positive to the left of the reference line."""

    name: str
    at_m: float
    off_m: float
    height_m: float = 0.0


@dataclass(frozen=True, slots=True)
class RoadSpan:
    """A stretch along the road: a kerb, a patch, a wall or a verge, between two offsets.

    ``left_m`` and ``right_m`` are offsets from the reference line, left
    positive, with ``left_m > right_m``. ``grip_factor`` is None where unknown.
    ``height_m`` is a wall's height, and of a verge what its outer side lies above the
    edge of the road.
    """

    kind: Literal["kerb", "patch", "wall", "verge"]
    name: str
    start_m: float
    end_m: float
    left_m: float
    right_m: float
    grip_factor: float | None = None
    height_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Circuit:
    """A closed road sampled at equal steps along its reference line.

    All arrays have shape (n,); sample i lies at ``s[i] = i * length_m / n`` and
    sample n would be sample 0 again.

    Parameters
    ----------
    s, length_m
        Metres along the reference line from the start line, in driving direction.
        Arc length in the horizontal plane.
    x, y
        Reference line in m.
    z
        Height of the reference line in m; zeros when ``has_heights`` is False.
    heading
        Direction of the reference line in rad, unwrapped, left positive.
    curvature
        1/m, left turns positive.
    slope
        dz/ds, uphill positive.
    banking
        Rotation of the road about its forward axis in rad, positive lifts the left edge.
    vertical_curvature
        d²z/ds² in 1/m, a compression positive, a crest negative.
    left, right
        Distances from the reference line to the edges in m, both positive.
    surveyed
        False when the edges are only the road seen in use.
    origin
        For circuits that came from geodetic positions.
    """

    name: str
    length_m: float
    s: Array
    x: Array
    y: Array
    z: Array
    heading: Array
    curvature: Array
    slope: Array
    banking: Array
    vertical_curvature: Array
    left: Array
    right: Array
    turns: Turns
    surveyed: bool
    has_heights: bool
    origin: Origin | None = None
    corners: tuple[Corner, ...] = ()
    landmarks: tuple[Landmark, ...] = ()
    spans: tuple[RoadSpan, ...] = ()

    @property
    def step_m(self) -> float:
        """Distance between samples in m."""
        return self.length_m / self.s.size
