"""The actions that are looked for in every corner, as data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Quantity = Literal["distance", "offset", "speed", "acceleration", "time", "angle", "share", "count"]


@dataclass(frozen=True, slots=True)
class ActionName:
    """One action: its unit, whether it is a place or a moment, what it needs.

    ``needs`` lists the traces without which it cannot be known.
    """

    name: str
    quantity: Quantity
    is_place: bool
    needs: tuple[str, ...] = ()


_ROWS: Final = (
    ActionName("off_throttle_m", "distance", True, ("throttle",)),
    ActionName("coasting_s", "time", False, ("throttle", "brake")),
    ActionName("brake_start_m", "distance", True, ("brake",)),
    ActionName("brake_rise_s", "time", False, ("brake",)),
    ActionName("peak_deceleration_mps2", "acceleration", False),
    ActionName("mean_deceleration_mps2", "acceleration", False, ("brake",)),
    ActionName("brake_release_s", "time", False, ("brake",)),
    ActionName("brake_end_m", "distance", True, ("brake",)),
    ActionName("brake_steering_overlap_s", "time", False, ("brake", "steering")),
    ActionName("brake_throttle_overlap_s", "time", False, ("brake", "throttle")),
    ActionName("turn_in_m", "distance", True),
    ActionName("minimum_speed_mps", "speed", False),
    ActionName("minimum_speed_m", "distance", True),
    ActionName("apex_m", "distance", True),
    ActionName("apex_inside_m", "offset", False),
    ActionName("throttle_first_m", "distance", True, ("throttle",)),
    ActionName("full_throttle_m", "distance", True, ("throttle",)),
    ActionName("time_to_full_throttle_s", "time", False, ("throttle",)),
    ActionName("off_full_throttle_s", "time", False, ("throttle",)),
    ActionName("exit_speed_mps", "speed", False),
    ActionName("gear", "count", False, ("gear",)),
    ActionName("entry_edge_m", "offset", False),
    ActionName("exit_edge_m", "offset", False),
    ActionName("distance_driven_m", "distance", False),
    ActionName("corner_time_s", "time", False),
)

#: Action name to its row, in the order in which a corner is driven.
ACTIONS: Final[dict[str, ActionName]] = {row.name: row for row in _ROWS}
