"""What another day's grip and air come to, in numbers and in words."""

from __future__ import annotations

from typing import Any

from lapwright.driving.review_air import AirChange
from lapwright.driving.review_day import DayChange
from lapwright.guide.sentences import round_fixed


def compose_day(
    day: DayChange | None, air: AirChange | None, price_s: float | None
) -> dict[str, Any]:
    """Compose another day in numbers and words.

    Parameters
    ----------
    price_s
        What a whole grip less costs a lap, s; None where it is not known.
    """
    if day is None:
        text = (
            "Another day cannot be taken out: too few corners to tell it by. "
            "What came is not given in seconds."
        )
        return {
            "grip": None, "error": None, "corners": 0, "cost_s": None, "air": None, "text": text,
        }  # fmt: skip
    cost = None if price_s is None else (1.0 - day.grip) * price_s
    by = "The times" if cost is not None else "The slowest speeds"
    text = (
        f"{by} of {day.corners} corners, taken together, are those of a road with "
        f"{round_fixed(100 * day.grip, 1)} % of the grip it had before, give or take "
        f"{round_fixed(100 * day.error, 1)} %. "
    )
    if cost is None:
        text += "Without a car of the guide it is taken out of speeds and places, not of time."
    else:
        text += f"That is {round_fixed(cost, 2)} s a lap, and is taken out of what follows. "
        text += "Day, tyres and a driver who changed everywhere at once cannot be told apart. "
        text += _say_air(air)
    return {
        "grip": day.grip, "error": day.error, "corners": day.corners, "cost_s": cost,
        "air": _compose_air(air), "text": text,
    }  # fmt: skip


def _compose_air(air: AirChange | None) -> dict[str, Any] | None:
    if air is None:
        return None
    cost, error = air.cost_of(0.0, 1.0)
    return {
        "cost_s": cost, "error_s": error, "thicker": air.thicker,
        "wind_x_mps": air.wind_x_mps, "wind_y_mps": air.wind_y_mps,
    }  # fmt: skip


def _say_air(air: AirChange | None) -> str:
    if air is None:
        return (
            "Wind and air on the straights are not taken out: it is not known where both "
            "sessions are at full throttle."
        )
    cost, error = air.cost_of(0.0, 1.0)
    return (
        f"At full throttle the air {'costs' if cost > 0 else 'saves'} "
        f"{round_fixed(abs(cost), 2)} ± {round_fixed(error, 2)} s a lap against before (wind and "
        "density), which is taken out as well; what wind does in corners is not."
    )
