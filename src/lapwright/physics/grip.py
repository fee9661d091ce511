"""Grip: limits linear in speed squared and load, joined by a superellipse.

All functions take floats, numpy arrays or CasADi expressions, unless said.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapwright.physics.load import GRAVITY

Array = NDArray[np.float64]


def limit_at(
    at_rest: Any, per_v2: Any, per_load: Any, v: Any, normal: Any, gravity: Any = GRAVITY
) -> Any:
    """Largest tyre acceleration in one direction in m/s².

    ``at_rest + per_v2 v² + per_load (normal − g)``: with a friction coefficient μ,
    mass m and downforce area ClA it is μ (normal + ρ ClA v² / 2m), so
    ``at_rest = μ g``, ``per_v2 = μ ρ ClA / 2m`` (1/m), ``per_load = μ``.
    """
    return at_rest + per_v2 * v * v + per_load * (normal - gravity)


def grip_use(forward: Any, left: Any, limit_forward: Any, limit_left: Any, exponent: Any) -> Any:
    """Share of the envelope in use, ρ = ((|fx|/Fx)^p + (|fy|/Fy)^p)^(1/p).

    ρ = 1 is the limit; p = 2 is the friction ellipse, p = 1 a rhombus. Scaling both
    forces scales ρ alike.
    """
    ratio = (abs(forward) / limit_forward) ** exponent + (abs(left) / limit_left) ** exponent
    return ratio ** (1 / exponent)


def forward_left_over(left: Array, limit_left: Array, exponent: float) -> Array:
    """Share of the forward limit that is left beside a lateral force; 0 beyond the limit."""
    share = np.minimum(np.abs(left) / limit_left, 1.0)
    return np.asarray((1 - share**exponent) ** (1 / exponent))


def corner_speed(
    radius_m: float, at_rest: float, per_v2: float, per_load: float, bank_rad: float = 0.0,
    gravity: float = GRAVITY,
) -> float:  # fmt: skip
    """Highest steady speed in m/s in a level corner; ``inf`` where grip never limits.

    From κv² cosβ − g sinβ = A0 + A1 v² + C (κv² sinβ + g cosβ − g), with ``bank_rad``
    positive where the outside is higher. Without downforce this is
    v² = R g (tanβ + μ)/(1 − μ tanβ), in every handbook on road design.
    """
    cos_b, sin_b, k = np.cos(bank_rad), np.sin(bank_rad), 1 / radius_m
    free = at_rest + gravity * sin_b + per_load * gravity * (cos_b - 1)
    bound = k * cos_b - per_v2 - per_load * k * sin_b
    return float(np.sqrt(free / bound)) if bound > 0 else float("inf")
