"""The sentences of the opening page: who, what, when, how well known, and the cautions."""

from __future__ import annotations

import math
from typing import Any, Final

import numpy as np

from lapwright.guide.document import Findings, Text, Value, join_texts, quote_name
from lapwright.guide.figures import width_figure
from lapwright.guide.lap_times import (
    LEAST_LAPS,
    find_lap,
    lap_time_figure,
    name_lap,
    summarise_lap_times,
)
from lapwright.model.circuit import Turns

#: Where a figure could send somebody off the road.
CAUTIONS: Final = (
    "Everything here is an estimate from past laps in past conditions; tyres, weather, fuel and "
    "traffic change what the road gives.",
    "It describes what was driven and proves nothing about what can be driven. Build up to a "
    "higher speed or a later brake point in steps.",
    "For closed circuits only. The event's rules, the marshals and a licensed instructor come "
    "first.",
)
_UNSURVEYED_CAUTION: Final = (
    "The edges were not surveyed: nothing here says how much road there is beyond what these "
    "laps used."
)
_TURNS: Final[dict[Turns, str]] = {
    "clockwise": "clockwise",
    "anticlockwise": "anticlockwise",
    "crossing": "crosses over itself",
}
_READ_SPREAD: Final = Text(
    "Robust standard deviation: of laps that scatter evenly, about two in three lie within it."
)
#: Below this rate a pedal's moment falls between samples, Hz.
_COARSE_HZ: Final = 10.0


def compose_cautions(findings: Findings) -> list[str]:
    """Return the cautions that stand in every form of the guide."""
    return [*CAUTIONS, *([] if findings.circuit.surveyed else [_UNSURVEYED_CAUTION])]


def say_title(findings: Findings) -> str:
    """Say the circuit, the conditions and how many laps count; plain text without holes."""
    used = count_used(findings)
    laps = f"{used} lap" if used == 1 else f"{used} laps"
    conditions = findings.session.conditions
    name = findings.circuit.name or "Circuit without a name"
    return ", ".join([name, *([conditions] if conditions else []), laps])


def count_used(findings: Findings) -> int:
    """Count the laps that statistics count."""
    return sum(lap.used for lap in findings.laps)


def say_lede(findings: Findings) -> Text:
    """Say who drove what, which lap is followed and which is drawn beside it."""
    who = ", ".join(map(quote_name, findings.session.drivers)) or "The driver is not named"
    car = quote_name(findings.session.car) if findings.session.car else ""
    parts = [Text(f"{who}{f', {car}' if car else ''}.")]
    chosen = find_lap(findings, findings.chosen_lap)
    against = find_lap(findings, findings.compare_lap)
    if chosen is not None:
        follow = f"The guide follows {name_lap(findings, chosen)}"
        parts.append(
            Text(f"{follow}, {{0}}.", (lap_time_figure(chosen),))
            if chosen.time_s is not None
            else Text(f"{follow}.")
        )
    if against is not None and against.time_s is not None:
        beside = f"Beside it is drawn {name_lap(findings, against)}, {{0}}."
        parts.append(Text(beside, (lap_time_figure(against),)))
    parts.append(
        Text("It says what was driven and how it repeats.")
        if count_used(findings) >= LEAST_LAPS
        else Text("It says what was driven; how it repeats takes three laps that count.")
    )
    return join_texts(parts)


def compose_facts(findings: Findings) -> list[dict[str, Any]]:
    """Compose the facts of the opening page, label and text; what is not known is left out."""
    session = findings.session
    drivers = ", ".join(map(quote_name, session.drivers))
    when = ", ".join(quote_name(part) for part in (session.date, session.conditions) if part)
    rows = [
        ("Laps", _say_laps(findings)),
        *_say_times(findings),
        ("Driver" if len(session.drivers) == 1 else "Drivers", Text(drivers) if drivers else None),
        ("Car", Text(quote_name(session.car)) if session.car else None),
        ("Day and conditions", Text(when) if when else None),
        ("Circuit", _say_circuit(findings)),
        ("Edges", _say_edges(findings)),
        ("Start line", findings.start_note),
        ("Recording", _say_recording(findings)),
        ("How to read ±", _READ_SPREAD if count_used(findings) >= LEAST_LAPS else None),
    ]  # fmt: skip
    return [{"label": label, "text": text.as_view()} for label, text in rows if text is not None]


def _say_laps(findings: Findings) -> Text:
    used = count_used(findings)
    aside = len(findings.laps) - used
    return Text("{0} used, {1} set aside", ((float(used), "count"), (float(aside), "count")))


def _say_times(findings: Findings) -> list[tuple[str, Text | None]]:
    times = summarise_lap_times(findings)
    if times.best is None:
        return [("Best lap", Text("no complete lap that counts"))]
    best = Text(f"{{0}}, {name_lap(findings, times.best)}", (lap_time_figure(times.best),))
    if times.spread_s is None:
        return [("Best lap", best)]
    middle = Text(
        "{0}, ±\u00a0{1}",
        (lap_time_figure(times.best, times.median_s), (times.spread_s, "time", 2)),
    )
    own = findings.own_best_corners_s
    together = Text("{0}", (lap_time_figure(times.best, own),)) if own is not None else None
    return [("Best lap", best), ("Median lap", middle), ("Own best corners, added up", together)]


def _say_circuit(findings: Findings) -> Text:
    circuit = findings.circuit
    return Text(f"{{0}}, {_TURNS[circuit.turns]}", ((circuit.length_m, "distance"),))


def _say_edges(findings: Findings) -> Text:
    surveyed = findings.circuit.surveyed
    return Text("surveyed" if surveyed else "road seen in use, not surveyed")


def find_top_speed(findings: Findings) -> float | None:
    """Return the highest speed of the laps that count, m/s."""
    tracks = [lap.track for lap in findings.laps if lap.used and lap.track is not None]
    known = [track.speed for track in tracks if np.isfinite(track.speed).any()]
    return max((float(np.nanmax(speed)) for speed in known), default=None)


def find_sample_length(findings: Findings) -> float | None:
    """Return the way between two samples at the highest speed, m."""
    top = find_top_speed(findings)
    return top / findings.rate_hz if top is not None and findings.rate_hz > 0.0 else None


def _say_recording(findings: Findings) -> Text | None:
    if not math.isfinite(findings.rate_hz):
        return None
    rate: Value = (findings.rate_hz, "count", 0 if findings.rate_hz >= 9.95 else 1)
    metres, top = find_sample_length(findings), find_top_speed(findings)
    if metres is None or top is None:
        return Text("{0}\u00a0Hz", (rate,))
    values: tuple[Value, ...] = (rate, width_figure(metres, "distance"), (top, "speed"))
    return Text("{0}\u00a0Hz: a sample every {1} at the highest speed, {2}", values)


def say_missing(findings: Findings) -> list[Text]:
    """Say what is missing for which result: what the findings bring, and too few samples."""
    metres = find_sample_length(findings)
    if not findings.rate_hz < _COARSE_HZ or metres is None:
        return list(findings.missing)
    coarse = "Few samples: what happens between two of them, up to {0} apart, is not seen."
    return [*findings.missing, Text(coarse, (width_figure(metres, "distance"),))]
