"""Road use, kerbs and track limits, in sentences that name their laps."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from lapwright.driving.kerb_use import KerbEffect, SpanUse
from lapwright.driving.road_use import RoadUse
from lapwright.driving.track_limits import RULES, Breach
from lapwright.guide.document import Findings, Text, join_words, name_laps, quote_name
from lapwright.guide.figures import WHEEL_KNOWN_TO_M
from lapwright.guide.road_records import list_road_use
from lapwright.model.circuit import Corner

_PARTS: Final = {"entry": "entry", "apex": "apex", "exit": "exit"}
#: What a measure is called, its quantity, and what is better about it.
_MEASURES: Final = {
    "corner_time_s": ("the corner's time", "time", "quicker", "slower"),
    "minimum_speed_mps": ("the minimum speed", "speed", "higher", "lower"),
    "corrections": ("the steering's corrections", "count", "fewer", "more"),
    "shake_mps2": ("the shaking", "acceleration", "less", "more"),
}
#: Less road than this is not named, m.
_WORTH_A_WORD_M: Final = 1.0


def say_corner_road(findings: Findings, corner: Corner) -> list[Text]:
    """Say what road is left and worth nothing, which kerbs are used, and who was out of bounds."""
    said = [_say_left(findings, list_road_use(findings, corner))]
    uses = [use for use in findings.span_uses if use.corner == corner.id]
    across = {s.name for s in findings.circuit.spans if s.left_m * s.right_m < 0}
    for span in dict.fromkeys(use.span for use in uses if use.span not in across):
        said += _say_span(
            [u for u in uses if u.span == span],
            [e for e in findings.kerb_effects if e.span == span],
        )
    return [text for text in (*said, _say_breaches(findings, corner)) if text is not None]


def _say_left(findings: Findings, uses: Sequence[RoadUse]) -> Text | None:
    """Name the road that is worth nothing, in one sentence; a little of it is not worth one."""
    idle = [use for use in uses if use.verdict == "leave it" and use.left_m >= _WORTH_A_WORD_M]
    if not idle:
        return None
    car = findings.measured
    whose = "the car" if car is not None and car.width_m > 0 else "the path driven"
    places = join_words([f"{{{k}}} at the {_PARTS[use.part]}" for k, use in enumerate(idle)])
    laps = float(max(use.laps for use in idle))
    return Text(
        f"Road left beside {whose} that is worth nothing that could be found, so leave it: "
        f"{places} (the middle of {{{len(idle)}}} laps).",
        (*((use.left_m, "offset", 1) for use in idle), (laps, "count")),
    )


def _say_span(uses: Sequence[SpanUse], effects: Sequence[KerbEffect]) -> list[Text | None]:
    on = [use for use in uses if use.wheels]
    if not on:
        return []
    wheels = list(dict.fromkeys(w for use in on for w in use.wheels))
    which = "all four wheels" if len(wheels) == 4 else f"the {join_words(wheels)} wheel"
    which += "s" * (1 < len(wheels) < 4)
    deepest = max(on, key=lambda use: use.depth_m)
    much = "at most" if deepest.depth_m >= WHEEL_KNOWN_TO_M else "less than"
    said: list[Text | None] = [
        Text(
            f"On {quote_name(uses[0].span)} with {which} on {{0}} of {{1}} laps, {much} {{2}} "
            f"deep (lap {quote_name(deepest.lap)}).",
            (
                (float(len(on)), "count"),
                (float(len(uses)), "count"),
                (max(deepest.depth_m, WHEEL_KNOWN_TO_M), "offset", 1),
            ),
        )
    ]
    said += [_say_effect(e) for e in effects]
    return said


def _say_effect(one: KerbEffect) -> Text | None:
    """Say what more of a kerb goes with; what was not shown only of the corner's time."""
    name, quantity, better, worse = _MEASURES[one.measure]
    if one.verdict == "not enough laps":
        text = Text("Not enough laps with different use of it to tell whether more helps.")
        return text if one.measure == "corner_time_s" else None
    laps = name_laps(one.laps)
    if one.verdict == "no effect shown":
        shows = f"shows no effect on {name} beyond what chance makes"
        text = Text(f"How much of it is used {shows} ({laps}).")
        return text if one.measure == "corner_time_s" else None
    worth = (one.worth, quantity, 2 if quantity == "time" else 1)
    if one.verdict == "best at":
        return Text(
            f"{name[0].upper()}{name[1:]} was best with {{0}} of it ({{1}} to {{2}}), by up "
            f"to {{3}} over {laps}. They go together; that is no proof of cause.",
            ((one.best_m, "offset", 1), (one.best_low_m, "offset", 1),
             (one.best_high_m, "offset", 1), worth),
        )  # fmt: skip
    way = better if one.verdict == "helps" else worse
    return Text(
        f"The more of it, up to {{0}}, the {way} {name}, by up to {{1}} over {laps}. They go "
        "together; that is no proof of cause, and nothing is known of more than was driven.",
        ((one.to_m, "offset", 1), worth),
    )


def _say_breaches(findings: Findings, corner: Corner) -> Text | None:
    found: dict[str, Breach] = {}
    rule = ""
    for lap in findings.laps:
        limits = findings.track_limits.get(lap.id)
        if not lap.used or limits is None:
            continue
        rule = limits.rule
        for breach in limits.breaches or ():
            worse = lap.id not in found or breach.by_m > found[lap.id].by_m
            if breach.corner == corner.id and worse:
                found[lap.id] = breach
    if not found:
        return None
    unsure = [lap for lap, breach in found.items() if not breach.sure]
    doubt = f" Within what the position is known to on {name_laps(unsure)}." if unsure else ""
    deepest = max(breach.by_m for breach in found.values())
    return Text(
        f"Out of bounds on {name_laps(list(found))}, by up to {{0}}, where the rule is that "
        f"{RULES[rule]}.{doubt}",
        ((deepest, "offset", 1),),
    )
