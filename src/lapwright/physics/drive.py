"""Drive: power, resistance, top speed, all over mass."""

from __future__ import annotations

from typing import Any

import numpy as np


def push_by_power(power_per_mass: Any, v: Any) -> Any:
    """Largest forward tyre acceleration in m/s² that the power (W/kg) allows at ``v`` m/s."""
    return power_per_mass / v


def resistance(drag_per_mass: Any, rolling: Any, v: Any, normal: Any) -> Any:
    """Deceleration by air and rolling in m/s².

    ``drag_per_mass v² + rolling · normal`` with ``drag_per_mass = ρ CdA / 2m`` in 1/m
    (the F2 of coast-down tests, SAE J1263, over mass), ``rolling`` a coefficient and
    ``normal`` the apparent gravity in m/s² (rolling resistance of downforce is left out).
    """
    return drag_per_mass * v * v + rolling * normal


def top_speed(power_per_mass: float, drag_per_mass: float, rolling_mps2: float = 0.0) -> float:
    """Speed in m/s where P/m = drag_per_mass v³ + rolling v on the level.

    ``inf`` without any resistance. The one positive root of a rising cubic.
    """
    if drag_per_mass <= 0:
        return power_per_mass / rolling_mps2 if rolling_mps2 > 0 else float("inf")
    roots = np.roots([drag_per_mass, 0.0, rolling_mps2, -power_per_mass])
    return float(max(r.real for r in roots if abs(r.imag) < 1e-6 * abs(r)))
