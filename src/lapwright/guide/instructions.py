"""What the driver does in a corner, in three to five sentences.

They describe and never order: nothing here knows yet what would be faster.
"""

from __future__ import annotations

from typing import Final

from lapwright.guide.document import Text, Value, join_texts
from lapwright.guide.figures import (
    HUMAN_TIMING_S,
    figure,
    from_apex,
    spread_seconds,
    width_figure,
)
from lapwright.guide.told import (
    Told,
    join_sentences,
    make_sentence,
    say_median,
    say_place,
    say_value,
)

#: What the sentences are about, in their order; the author's notes speak of them so.
TOPICS: Final = (
    "slowing", "release", "slowest", "throttle", "edges", "turn-in", "gear", "time",
)  # fmt: skip
MOST_INSTRUCTIONS: Final = 5
LEAST_INSTRUCTIONS: Final = 3
#: A duration that is less is not worth a sentence: a foot changes pedals in about that time
#: (from memory, no source), s.
_LEAST_DURATION_S: Final = 0.2
#: Slowing by less is not worth a sentence, m/s².
_LEAST_SLOWING_MPS2: Final = 0.5
#: A lowest speed this close to where the corner begins lies at its entry, m.
_AT_ENTRY_M: Final = 5.0
#: A duration below so many floors (one sample is 2.4) cannot be timed.
_TIMED_FLOORS: Final = 3.0


def say_instructions(told: Told | None) -> list[Text]:
    """Say in three to five sentences what the driver does, as far as the data goes."""
    return [text for _, text in say_by_topic(told)]


def say_by_topic(told: Told | None) -> list[tuple[str, Text]]:
    """Say the same, each sentence with what it is about: `TOPICS` names them."""
    if told is None:
        return []
    main = (_say_slowing, _say_release, _say_slowest, _say_throttle, _say_edges)
    more = (_say_turn_in, _say_gear, _say_time)
    said: list[tuple[str, Text]] = []
    for topic, say in zip(TOPICS, (*main, *more), strict=True):
        if (say in main or len(said) < LEAST_INSTRUCTIONS) and (text := say(told)):
            said.append((topic, text))
    return said[:MOST_INSTRUCTIONS]


def _say_slowing(told: Told) -> Text | None:
    for name, verb in (("brake_start_m", "brakes"), ("off_throttle_m", "leaves full throttle")):
        place = say_place(told, name, verb)
        if place:
            coasting = _say_long(told, "coasting_s", "neither pedal for {0} in all")
            return join_sentences(make_sentence(place, _say_human(told, name)), coasting)
    if told.summary.kind == "flat":
        flat = "No braking and no lift" if told.has_throttle else "No slowing is seen"
        return Text(f"{flat} for this corner on at least half of the laps.")
    peak = told.known("peak_deceleration_mps2")
    if peak is None or (peak.median or 0.0) < max(peak.floor or 0.0, _LEAST_SLOWING_MPS2):
        return None
    return make_sentence(say_value(told, "peak_deceleration_mps2", "slows by up to {0}"))


def _say_human(told: Told, name: str) -> Text | None:
    """Hold a spread against what a practised timing would give."""
    action = told.known(name)
    seconds = spread_seconds(action) if action else None
    if action is None or seconds is None or action.human_floor is None:
        return None
    values: tuple[Value, ...] = (
        (seconds, "moment"), (HUMAN_TIMING_S, "moment"),
        width_figure(action.human_floor, "distance"),
    )  # fmt: skip
    if action.floor is not None and action.spread is not None and action.spread <= action.floor:
        return Text("±\u00a0{0} of timing would make ±\u00a0{1}", values[1:])
    return Text("that is ±\u00a0{0} of timing, where ±\u00a0{1} would make ±\u00a0{2}", values)


def _say_release(told: Told) -> Text | None:
    let_go = say_value(told, "brake_release_s", "lets the brake go over {0}")
    release = told.known("brake_release_s")
    if release and (release.median or 0.0) < _TIMED_FLOORS * (release.floor or 0.0):
        let_go = Text("lets the brake go faster than this log can time")
    overlap = _say_long(told, "brake_steering_overlap_s", "brakes and steers at once for {0}")
    return join_sentences(
        make_sentence(let_go, say_place(told, "brake_end_m", "off the brake")), overlap
    )


def _say_slowest(told: Told) -> Text | None:
    return make_sentence(
        _say_minimum(told),
        say_value(told, "exit_speed_mps", "{0} at the corner's exit"),
    )


def _say_minimum(told: Told) -> Text | None:
    speed = say_value(told, "minimum_speed_mps", "slowest at {0}")
    where = told.known("minimum_speed_m")
    if speed and where and where.median is not None:
        begun = from_apex(where.median, told.corner.start_m, told.length_m)
        if begun < _AT_ENTRY_M:
            return join_texts([speed, Text("at the corner's entry")], ", ")
    place = say_place(told, "minimum_speed_m", "")
    return join_texts([speed, place], ",") if speed and place else speed


def _say_throttle(told: Told) -> Text | None:
    return join_sentences(
        make_sentence(
            say_place(told, "throttle_first_m", "throttle pick-up"),
            say_place(told, "full_throttle_m", "full throttle") or _say_never_full(told),
        ),
        make_sentence(say_value(told, "off_full_throttle_s", "off full throttle for {0}")),
    )


def _say_never_full(told: Told) -> Text | None:
    full = told.summary.actions.get("full_throttle_m")
    picked_up = told.known("throttle_first_m") is not None
    never = full is not None and full.n == 0 and picked_up
    return Text("full throttle is not reached before the next corner") if never else None


def _say_edges(told: Told) -> Text | None:
    road = "the edge" if told.surveyed else "the edge of the road seen in use"
    clauses = [
        _say_edge(told, "entry_edge_m", "on the outside at turn-in"),
        _say_edge(told, "apex_inside_m", "on the inside at the apex"),
        _say_edge(told, "exit_edge_m", "on the outside on the way out, where it is closest"),
    ]
    there = [clause for clause in clauses if clause]
    return make_sentence(join_texts([Text(f"From {road}: "), join_texts(there, "; ")], "")
                     if there else None)  # fmt: skip


def _say_edge(told: Told, name: str, where: str) -> Text | None:
    """Say a distance to an edge; a path beyond the edge has a negative one."""
    action = told.known(name)
    if action is None or action.median is None:
        return None
    beyond = "beyond it " if action.median < 0.0 else ""
    return Text(f"{{0}} {beyond}{where}", (figure(action, "offset", abs(action.median)),))


def _say_turn_in(told: Told) -> Text | None:
    return make_sentence(say_place(told, "turn_in_m", "turns in"))


def _say_gear(told: Told) -> Text | None:
    action = told.known("gear")
    return Text("Gear {0} at the slowest point.", ((action.median, "count"),)) if action else None


def _say_time(told: Told) -> Text | None:
    return make_sentence(
        say_value(told, "corner_time_s", "{0} from the corner's entry to its exit")
    )


def _say_long(told: Told, name: str, template: str) -> Text | None:
    """Say a duration in a sentence of its own when it is long enough to matter."""
    action = told.known(name)
    long = action is not None and (action.median or 0.0) >= _LEAST_DURATION_S
    return make_sentence(say_median(told, name, template)) if long else None
