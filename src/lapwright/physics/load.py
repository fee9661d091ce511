"""What the shape of the road does to a car: apparent gravity, lateral and forward pull.

All functions take floats, numpy arrays or CasADi expressions.

The road is a surface with height h over a horizontal plane. At a place, seen in
the horizontal direction of travel: ``slope`` is dh/dl, ``cross`` is dh/dn to the
left, and ``bend`` is the second derivative of h along the straight tangent (1/m,
a compression positive). A particle on the surface with horizontal path curvature
k and speed v (along the road, so v cos(slope angle) over the plane) feels the
specific force a + g ẑ. Split along the tangent, the road's normal and the left of
both, it is

    normal  = (g + vh² bend) / √(1 + slope² + cross²),   vh² = v² / (1 + slope²)
    lateral = vh² k √((E + cross²) / E) + cross · normal / √E,   E = 1 + slope²

which is Newton's law on a surface (derived here; with slope = 0 and a cone for the
road it is the banked-corner formula of handbooks).
"""

from __future__ import annotations

from typing import Any

GRAVITY = 9.80665  # m/s², standard gravity (ISO 80000-3)


def speed_over_plane(v: Any, slope: Any) -> Any:
    """Squared horizontal speed in m²/s² of a car at ``v`` m/s along a slope (dz/dl)."""
    return v * v / (1 + slope * slope)


def apparent_gravity(v: Any, slope: Any, cross: Any, bend: Any, gravity: Any = GRAVITY) -> Any:
    """Specific force along the road's normal, m/s²: what presses the car on the road.

    Parameters
    ----------
    v
        Speed in m/s.
    slope, cross
        dz/dl ahead and dz/dn to the left.
    bend
        Second derivative of height along the tangent, 1/m; a crest is negative.
    gravity
        m/s².

    Notes
    -----
    On a level crest of radius R it is g − v²/R, so the load is 1 − v²/(gR) of the
    weight: 0.681 at 50 m/s and R = 800 m.
    """
    tilt = (1 + slope * slope + cross * cross) ** 0.5
    return (gravity + speed_over_plane(v, slope) * bend) / tilt


def lateral_force(v: Any, curvature: Any, slope: Any, cross: Any, normal: Any) -> Any:
    """Specific force to the left in the road's plane in m/s²: what the tyres must give.

    Parameters
    ----------
    v
        Speed in m/s.
    curvature
        Horizontal curvature of the path in 1/m, left positive.
    slope, cross
        dz/dl ahead and dz/dn to the left.
    normal
        `apparent_gravity` in m/s².
    """
    even = 1 + slope * slope
    push = speed_over_plane(v, slope) * curvature * ((even + cross * cross) / even) ** 0.5
    return push + cross * normal / even**0.5


def curvature_held(v: Any, lateral: Any, slope: Any, cross: Any, normal: Any) -> Any:
    """Horizontal path curvature in 1/m that a lateral tyre force (m/s²) gives at ``v``.

    The inverse of `lateral_force`.
    """
    even = 1 + slope * slope
    side = ((even + cross * cross) / even) ** 0.5
    return (lateral - cross * normal / even**0.5) / (speed_over_plane(v, slope) * side)


def downhill_pull(slope: Any, gravity: Any = GRAVITY) -> Any:
    """Part of gravity against the direction of travel in m/s², positive uphill."""
    return gravity * slope / (1 + slope * slope) ** 0.5


def load_share(v: Any, slope: Any, cross: Any, bend: Any, gravity: Any = GRAVITY) -> Any:
    """Load gained (+) or lost (−) through the road's shape, as a share of the weight."""
    return apparent_gravity(v, slope, cross, bend, gravity) / gravity - 1
