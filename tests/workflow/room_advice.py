"""What a guide owes whoever it asks to brake later, go faster or stay flat.

`find_faults` walks all that a guide says of its corners and lists where it falls short:
advice without its room, room for less than is asked, what nobody has shown worded as if
someone had, or as an order. A guide that is spoilt on purpose shows that it can tell.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from lapwright.guide.sentences import write_text

View = Mapping[str, Any]
#: What the causes of the order of work ask for, and of which action.
ASKS = {
    "early_braking": ("later", "brake_start_m"),
    "slow_minimum": ("faster", "minimum_speed_mps"),
    "lift": ("flat", "off_throttle_m"),
}
#: Sentences that ask for, or tell of, braking later, a faster corner, or staying flat.
ADVICE = {
    "later": r"\bbrake later|\bbraking \S+ \S+ later than usual",
    "faster": r"\bcarry more speed|\bcarry \S+ \S+ at the slowest|\ba minimum speed of",
    "flat": r"\bstaying on the throttle|^flat (\(|at full throttle, computed)",
}
#: How an order begins.
ORDER = r"(?:^|[.:] )(?:Brake|Go|Stay|Carry|Keep|Take|Hold|Be|Use)\b|\bmust\b|\bshould\b"
COMPUTED = "computed; nobody has driven it"
MISSED_M = [5.0, 10.0]
#: A goal counts as reached from so near, m and m/s.
NEAR = {"brake_start_m": 0.5, "minimum_speed_mps": 0.1}


def find_faults(view: View) -> list[str]:
    """List what a guide's view owes its reader, in words; empty where it owes nothing."""
    system = view["units"]["systems"][view["units"]["chosen"]]
    length = view["guide"]["circuit"]["length_m"]
    return [
        f"corner {corner['id']}: {fault}"
        for corner in view["guide"]["corners"]
        for fault in _list_faults(view, corner, system, length)
    ]


def find_asked(view: View) -> set[str]:
    """Find which changes a guide's order of work asks for."""
    return {ASKS[w["cause"]][0] for w in view["guide"]["order_of_work"] if w["cause"] in ASKS}


def _list_faults(view: View, corner: View, system: View, length: float) -> Iterator[str]:
    guide, words = view["guide"], view["words"]["corners"][corner["id"]]
    known = {row["change"] for row in corner["room"]}
    settled = known | {u["change"] for u in corner["room_unknown"] if u["why"]}
    work = [w for w in guide["order_of_work"] if w["corner"] == corner["id"]]
    for item in work:
        if item["cause"] in ASKS:
            yield from _check_item(item, corner["room"], settled, length)
    own = [w for w in view["order_of_work"] if w["corner"] == corner["id"]]
    for text in [*_texts(own, system), *_texts(words, system), *_texts([work, corner], system)]:
        for change, pattern in ADVICE.items():
            driven = change == "flat" and corner["kind"] == "flat"
            if change not in settled and not driven and re.search(pattern, text, re.IGNORECASE):
                yield f"{text!r} has no room"
    rooms = [corner["room"][i : i + 2] for i in range(0, len(corner["room"]), 2)]
    said = [write_text(t, system).replace("\u00a0", " ") for t in words["room"]]
    if len(said) != len(rooms) + len(corner["room_unknown"]):
        yield "not every room is told of"
    for rows, text in zip(rooms, said, strict=False):
        if [row["missed_by_m"] for row in rows] != MISSED_M:
            yield f"{rows[0]['change']}: not missed by 5 and by 10 m"
        yield from _check_words(rows[0], text)
        yield from _check_shown(guide, corner["id"], rows[0], length)


def _check_item(item: View, rows: Any, settled: set[str], length: float) -> Iterator[str]:
    """Whether something asked for has room, for as much as is asked."""
    change, action = ASKS[item["cause"]]
    own = [row for row in rows if row["change"] == change]
    if change not in settled:
        yield f"asked for {change} without room"
    if own and item["goal"] is not None and item["action"] == action:
        furthest = max(_beyond(row["goal"], item["goal"], action, length) for row in own)
        if furthest < -NEAR[action]:
            yield f"asked for {-furthest:.1f} more than there is room for"


def _check_words(row: View, text: str) -> Iterator[str]:
    if row["computed"] is not (row["shown_by"] is None):
        yield "says neither who showed it nor that it is computed"
    if row["computed"]:
        if COMPUTED not in text or "shown" in text.replace("laps showed", ""):
            yield f"{text!r} is not worded as computed"
        if re.search(ORDER, text):
            yield f"{text!r} is an order"
    elif row["shown_by"] and f"on lap {row['shown_by']['lap']})" not in text:
        yield f"{text!r} does not name the lap"


def _check_shown(guide: View, corner: str, row: View, length: float) -> Iterator[str]:
    """Whether the lap that is named did it."""
    if row["shown_by"] is None:
        return
    lap, action = row["shown_by"]["lap"], row["action"]
    done = [o["actions"].get(action) for o in guide["corner_laps"]
            if (o["corner"], o["lap"]) == (corner, lap)]  # fmt: skip
    if not done:
        yield f"lap {lap} did not drive it"
    elif row["change"] == "flat":
        if done[0] is not None:
            yield f"lap {lap} lifted"
    elif done[0] is None or _beyond(done[0], row["goal"], action, length) < -NEAR[action]:
        yield f"lap {lap} did not do it"


def _beyond(value: float, other: float, action: str, length: float) -> float:
    apart = value - other
    return (apart + length / 2) % length - length / 2 if action.endswith("_m") else apart


def _texts(part: Any, system: View) -> list[str]:
    """Write every sentence of a document, whether it is text or has its values beside it."""
    if isinstance(part, dict):
        if set(part) == {"t", "v"}:
            return [write_text(part, system).replace("\u00a0", " ")]
        return [text for value in part.values() for text in _texts(value, system)]
    if isinstance(part, list):
        return [text for value in part for text in _texts(value, system)]
    return [part] if isinstance(part, str) else []
