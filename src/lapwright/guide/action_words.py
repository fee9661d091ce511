"""How each action of a corner is called, and what is meant by it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from lapwright.driving.action_names import ACTIONS


@dataclass(frozen=True, slots=True)
class ActionWords:
    """A label, one line of meaning, and for a place the labels on the road."""

    label: str
    meaning: str
    before: str | None = None
    after: str | None = None


def _place(label: str, meaning: str, verb: str) -> ActionWords:
    return ActionWords(
        label, meaning, f"{verb} {{0}} before the apex", f"{verb} {{0}} after the apex"
    )


WORDS: Final[dict[str, ActionWords]] = {
    "off_throttle_m": _place(
        "end of full throttle", "where full throttle is left", "leaves full throttle"
    ),
    "coasting_s": ActionWords(
        "coasting", "neither pedal pressed, between leaving the throttle and taking it up again"
    ),
    "brake_start_m": _place("brake start", "where the brake is first pressed", "brakes"),
    "brake_rise_s": ActionWords("brake build-up", "from the first pressure to near the highest"),
    "peak_deceleration_mps2": ActionWords("peak deceleration", "the hardest slowing on the way in"),
    "mean_deceleration_mps2": ActionWords(
        "mean deceleration", "slowing from brake start to brake end"
    ),
    "brake_release_s": ActionWords(
        "brake release", "how long the brake is let go, from near the highest pressure to none"
    ),
    "brake_end_m": _place("brake end", "where the brake is off again", "brake off"),
    "brake_steering_overlap_s": ActionWords(
        "brake with steering", "how long the car is braked and steered at once"
    ),
    "brake_throttle_overlap_s": ActionWords(
        "brake with throttle", "how long both pedals are pressed at once"
    ),
    "turn_in_m": _place("turn-in", "where the car begins to turn into the corner", "turns in"),
    "minimum_speed_mps": ActionWords("minimum speed", "the lowest speed in the corner"),
    "minimum_speed_m": _place("slowest point", "where the speed is lowest", "slowest"),
    "apex_m": ActionWords(
        "apex reached",
        "where the line is closest to the inside, held against the apex of the circuit",
        "closest to the inside {0} before the apex",
        "closest to the inside {0} after the apex",
    ),
    "apex_inside_m": ActionWords(
        "inside edge at the apex", "from the path driven to the inside edge, where it is closest"
    ),
    "throttle_first_m": _place(
        "throttle pick-up", "the first rise of the throttle that is not given back", "throttle"
    ),
    "full_throttle_m": _place("full throttle", "where full throttle is reached", "full throttle"),
    "time_to_full_throttle_s": ActionWords(
        "pick-up to full throttle", "from throttle pick-up to full throttle"
    ),
    "off_full_throttle_s": ActionWords(
        "time off full throttle", "from leaving full throttle to being back on it"
    ),
    "exit_speed_mps": ActionWords("exit speed", "speed where the corner ends"),
    "gear": ActionWords("gear", "the gear at the slowest point"),
    "entry_edge_m": ActionWords(
        "outside edge at turn-in", "from the path driven to the outside edge, where the turn begins"
    ),
    "exit_edge_m": ActionWords(
        "outside edge at the exit",
        "from the path driven to the outside edge, where it is closest on the way out",
    ),
    "distance_driven_m": ActionWords("distance driven", "length of the path through the corner"),
    "corner_time_s": ActionWords("time in the corner", "from its beginning to its end"),
}


def compose_action_words() -> dict[str, Any]:
    """Return the words of every action, in driving order, as the page takes them."""
    return {
        name: {
            "label": WORDS[name].label,
            "quantity": row.quantity,
            "is_place": row.is_place,
            "meaning": WORDS[name].meaning,
            "before": WORDS[name].before,
            "after": WORDS[name].after,
        }
        for name, row in ACTIONS.items()
    }
