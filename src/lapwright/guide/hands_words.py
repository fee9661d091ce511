"""Hands, rotation and gears of a corner in sentences; each names how many laps show it."""

from __future__ import annotations

from lapwright.driving.gears import CornerGears
from lapwright.driving.phases import CornerPhases
from lapwright.driving.steering import HandsSummary
from lapwright.guide.document import Findings, Text
from lapwright.model.circuit import Corner


def say_corner_hands(findings: Findings, corner: Corner) -> list[Text]:
    """Say how much the wheel is turned, where the turning is done, and in which gear."""
    hands = findings.hands.get(corner.id)
    phases = findings.phases.get(corner.id)
    gears = findings.gears.get(corner.id)
    said = [
        _say_wheel(hands) if hands else None,
        _say_turning(phases) if phases else None,
        _say_grip(phases) if phases else None,
        _say_gears(gears) if gears else None,
    ]
    return [text for text in said if text is not None]


def _say_wheel(hands: HandsSummary) -> Text | None:
    if hands.total_rad is None or hands.corrections is None:
        return None
    return Text(
        "The wheel is turned {0} in all, with {1} corrections a lap ({2} laps).",
        ((hands.total_rad, "angle"), (hands.corrections, "count", 1), _count(hands.laps)),
    )


def _say_turning(phases: CornerPhases) -> Text | None:
    if phases.turning is None:
        return None
    brake, neither, throttle = phases.turning
    return Text(
        "Of the turning {0} is done on the brake, {1} off both pedals, {2} on the throttle "
        "({3} laps).",
        ((brake, "share"), (neither, "share"), (throttle, "share"), _count(phases.laps)),
    )


def _say_grip(phases: CornerPhases) -> Text | None:
    if phases.grip is None:
        return None
    names = ("on the brake", "off both pedals", "on the throttle")
    known = [(g, n) for g, n in zip(phases.grip, names, strict=True) if g is not None]
    if not known:
        return None
    parts = ", ".join(f"{{{i}}} {name}" for i, (_, name) in enumerate(known))
    values = tuple((grip, "share") for grip, _ in known)
    laps = f"({{{len(known)}}} laps)"
    return Text(
        f"In use of the car's grip, on average: {parts} {laps}.", (*values, _count(phases.laps))
    )


def _say_gears(gears: CornerGears) -> Text | None:
    """Say which gear gave the faster exits, where enough laps show it."""
    found = gears.compared
    if found is None:
        return None
    return Text(
        "Exits in gear {0} were {1} faster than in gear {2} ({3} and {4} laps).",
        (
            (float(found.better), "count"), (found.gain_mps, "speed", 1),
            (float(found.other), "count"), _count(found.better_laps), _count(found.other_laps),
        ),
    )  # fmt: skip


def _count(laps: tuple[str, ...]) -> tuple[float, str]:
    return float(len(laps)), "count"
