"""What is possible, in sentences: computed things are called computed, never ordered."""

from __future__ import annotations

from typing import Any, Final

from lapwright.guide.document import Findings, Text, Value, join_texts, join_words, quote_name
from lapwright.guide.possible_records import find_car, why_null
from lapwright.model.car import Car
from lapwright.model.circuit import Corner
from lapwright.physics.grip import limit_at
from lapwright.possible.flat_out import FlatMargin, LoadShare
from lapwright.possible.what import Estimate, WhatIsPossible
from lapwright.possible.worth import RoadWorth

#: A metre that is worth less is worth nothing that a driver could find, s.
_WORTH_NAMING_S: Final = 0.005
#: Time for unused road that is worth a sentence, s.
_UNUSED_NAMING_S: Final = 0.01
#: Load gained or lost that a driver feels, share of the weight (common practice, no source).
_FELT_LOAD: Final = 0.05
#: A margin within this of zero, or an interval over zero, is on the edge of flat.
_EDGE_OF_FLAT: Final = 0.03
#: More downforce than this is another car, factor.
_MOST_DOWNFORCE: Final = 1.5
#: From so many laps on it is told how grip went from lap to lap.
_LAPS_TO_COMPARE: Final = 3
_PARTS: Final = {"entry": "at the entry", "apex": "at the apex", "exit": "at the exit"}


def compose_possible_words(findings: Findings) -> dict[str, Any] | None:
    """Compose the section on what is possible; None where it was not asked for."""
    what = findings.possible
    if what is None:
        return None
    reason = why_null(findings)
    texts = [] if reason else _say_times(findings, what)
    texts += _say_car(findings)
    texts += [] if reason else _say_conditions(what)
    texts += [Text(quote_name(m)) for m in (what.fit.missing if what.fit else ())]
    return {
        "title": "What is possible",
        "sentences": [text.as_view() for text in texts],
        "why_null": Text(f"No fastest line: {quote_name(reason)}").as_view() if reason else None,
    }


def say_corner_possible(findings: Findings, corner: Corner) -> list[Text]:
    """Say what road is worth in a corner, how near to flat it is, and what the road does."""
    what = findings.possible
    if what is None or what.fastest is None:
        return []
    worths = [w for w in what.worths if w.zone.corner == corner.id]
    said = [_say_worth(worths), _say_unused(worths)]
    said += [_say_flat(m) for m in what.margins if m.corner == corner.id]
    said += [_say_load(one) for one in what.loads if one.corner == corner.id]
    return [text for text in said if text]


def _say_times(findings: Findings, what: WhatIsPossible) -> list[Text]:
    lap = next(lap for lap in findings.laps if lap.id == findings.chosen_lap)
    out = []
    if what.on_line_s and lap.time_s is not None:
        out.append(
            Text(
                f"On the line of lap {quote_name(lap.id)}{_in_conditions(what)} "
                f"{_which_car(what)} could do {{0}} ({{1}} to {{2}}); the lap took {{3}}."
                f"{_all_used(what.on_line_s, lap.time_s)}",
                (*_three(what.on_line_s), (lap.time_s, "lap_time", 2)),
            )
        )
    if what.on_fastest_line_s and what.fastest:
        seen = "" if findings.circuit.surveyed else ", within the road seen in use"
        keeps = what.fastest.margin_m + (what.car.width_m / 2 if what.car else 0.0)
        out.append(
            Text(
                f"On the fastest line{seen} it could do {{0}} ({{1}} to {{2}}). That is computed "
                "for a point that keeps {3} from the edges and makes no mistake: nobody has "
                "driven it.",
                (*_three(what.on_fastest_line_s), (keeps, "offset", 1)),
            )
        )
    return out


def _which_car(what: WhatIsPossible) -> str:
    return "the car given" if what.fit is None else "the car that these laps showed"


def _all_used(possible: Estimate, driven_s: float) -> str:
    within = possible.low <= driven_s <= possible.high
    return " On its line it left nothing that this data can show." if within else ""


def _in_conditions(what: WhatIsPossible) -> str:
    return "" if what.fit is None else ", in its conditions,"


def _three(one: Estimate) -> tuple[Value, ...]:
    return tuple((v, "lap_time", 2) for v in (one.value, one.low, one.high))


def _say_car(findings: Findings) -> list[Text]:
    car, what = find_car(findings), findings.possible
    if car is None or what is None:
        return []
    if what.fit is None:
        return [Text("The car is the one given, not found in these laps.")]
    count = sum(lap.used for lap in findings.laps)
    values: list[Value] = [(float(count), "count")]
    parts = []
    for name, verb in (("lateral", "corners with"), ("brake", "brakes with")):
        if name not in car.support:
            continue
        at = car.middle_speed(name)
        parts.append(f"{verb} up to {{{len(values)}}} at {{{len(values) + 1}}}")
        values += [(_limit(car, name, at), "acceleration", 1), (at, "speed")]
    if not parts:
        return []
    found = "The car, as {0} laps showed it, " + " and ".join(parts)
    return [Text(f"{found}: a lower bound of what it can do.", tuple(values))]


def _say_conditions(what: WhatIsPossible) -> list[Text]:
    laps = what.fit.conditions if what.fit else ()
    if len(laps) < _LAPS_TO_COMPARE:
        return []
    low, high = (pick(laps, key=lambda c: c.grip) for pick in (min, max))
    return [
        Text(
            f"Grip used, against the middle lap: {{0}} in lap {quote_name(low.lap)} to {{1}} in "
            f"lap {quote_name(high.lap)}, by tyres, fuel, road and driver together. It is taken "
            "out where laps are held against what is possible.",
            ((low.grip, "share", 1), (high.grip, "share", 1)),
        )
    ]


def _limit(car: Car, name: str, v: float) -> float:
    one = getattr(car, name)
    return float(limit_at(one.at_rest, one.per_v2, one.per_load, v, car.gravity, car.gravity))


def _say_worth(worths: list[RoadWorth]) -> Text | None:
    named = [w for w in worths if w.s_per_m >= _WORTH_NAMING_S]
    if not worths:
        return None
    if not named:
        return Text("A metre of road is worth nothing here that a driver could find: leave it.")
    parts = [f"{{{i}}} {_PARTS[w.zone.part]}" for i, w in enumerate(named)]
    listed = join_words(parts)
    rest = [_PARTS[w.zone.part] for w in worths if w.s_per_m < _WORTH_NAMING_S]
    nothing = f"; nothing {' and '.join(rest)}" if rest else ""
    return Text(
        f"The next metre of road is worth {listed}{nothing}.",
        tuple((w.s_per_m, "time", 2) for w in named),
    )


def _say_unused(worths: list[RoadWorth]) -> Text | None:
    said = [
        Text(
            f"{{0}} are left unused {_PARTS[w.zone.part]}, on average; "
            "they are worth {1}, computed, not shown.",
            ((w.unused_m, "offset", 1), (w.unused_worth_s, "time", 2)),
        )
        for w in worths
        if w.unused_worth_s is not None and w.unused_worth_s >= _UNUSED_NAMING_S
    ]
    return join_texts(said) if said else None


def _say_flat(margin: FlatMargin) -> Text | None:
    low = margin.margin if margin.low is None else margin.low
    high = margin.margin if margin.high is None else margin.high
    interval: tuple[Value, ...] = ((low, "share"), (high, "share"))
    if low > _EDGE_OF_FLAT:
        return Text("Flat at full throttle, computed, with {0} to {1} of grip in hand.", interval)
    if high > -_EDGE_OF_FLAT:
        return Text("On the edge of flat: grip in hand {0} to {1}, computed.", interval)
    factor = margin.downforce_factor
    if factor is not None and 1.0 < factor <= _MOST_DOWNFORCE:
        return Text(
            "Not flat: grip short by {0} to {1}; {2} more downforce would make it flat.",
            ((-high, "share"), (-low, "share"), (factor - 1.0, "share")),
        )
    return None


def _say_load(load: LoadShare) -> Text | None:
    said = []
    if load.max_share >= _FELT_LOAD:
        text = "The road presses the car down by up to {0} of its weight."
        said.append(Text(text, ((load.max_share, "share"),)))
    if load.min_share <= -_FELT_LOAD:
        text = "The road lets the car go light by up to {0} of its weight."
        said.append(Text(text, ((-load.min_share, "share"),)))
    return join_texts(said) if said else None
