"""What is told under a corner's road, a line for each mark: where it stands and what it says.

Composed from a finished view, so that the author's own choices are in it. A picture picks the
lines of its lap and of its stretch of road; it writes the numbers and no sentence.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from lapwright.guide.document import Text, Value, join_texts, join_words, quote_name
from lapwright.guide.figures import WHEEL_KNOWN_TO_M

View = Mapping[str, Any]

#: Titles of what is said of a corner besides its instructions, in the order of its page.
TOPIC_TITLES: Final = (
    ("references", "What it is done on"), ("possible", "What is possible here"),
    ("road", "The road and its edges"), ("room", "Room to be wrong"),
    ("sight", "What is seen"), ("hands", "Hands, pedals, gears"),
)  # fmt: skip
#: Where a corner is prepared, and the action that says so.
_EYES: Final = {"brake_start_m": "the brake point", "turn_in_m": "turn-in",
                "start_m": "the corner's start"}  # fmt: skip
_SEEN: Final = "{0} of road in view from "
_PHASES: Final = {"brake": "on the brake", "neither": "off both pedals",
                  "throttle": "on the throttle"}  # fmt: skip
_CHANGES: Final = {"later": "braking later", "faster": "a higher lowest speed",
                   "flat": "staying flat"}  # fmt: skip

#: A kerb is worth a picture where so many laps went to depths so far apart, m.
_CHART_LAPS: Final = 3
_CHART_RANGE_M: Final = 0.1
#: Nearer than this the car is at the edge, m.
_AT_EDGE_M: Final = 0.05


def compose_mark_words(view: View) -> dict[str, Any]:
    """Compose all lines under the roads, and what the pictures of a corner call their parts.

    Returns
    -------
    dict
        ``topics``; ``eyes`` with a name and two sentences each; ``apex_seen``; ``phases``;
        ``corners`` with the lines of each, ``bounds`` with those of breaches anywhere, and
        ``kerb_charts`` with the kerbs of each corner whose use is worth a picture.
        A line has ``group``, ``glyph``, ``from_m``, ``to_m`` (m from the start line, or None),
        ``text``, and where it holds for some laps alone ``laps``.
    """
    return {
        "topics": [{"key": key, "title": title} for key, title in TOPIC_TITLES],
        "eyes": {
            action: {"name": name, "seen": _SEEN + name, "open": f"at least {_SEEN}{name}"}
            for action, name in _EYES.items()
        },
        "apex_seen": "the apex comes into view",
        "phases": _PHASES,
        "corners": {corner["id"]: list_marks(view, corner) for corner in view["guide"]["corners"]},
        "bounds": [line for lap in view["guide"]["laps"] for line in _list_breaches(lap)],
        "kerb_charts": {
            corner["id"]: _list_charts(view, corner) for corner in view["guide"]["corners"]
        },
    }  # fmt: skip


def list_marks(view: View, corner: View) -> list[dict[str, Any]]:
    """List the lines of one corner: see `compose_mark_words`."""
    return [
        *_list_references(view, corner),
        *_list_road_left(corner),
        *_list_kerbs(view, corner),
        *_list_room(view, corner),
    ]


def say_seen(action: str, ahead_m: float, at_least: bool) -> Text:
    """Say how much road is in view from where an action is done, or from a corner's ``start_m``."""
    lead = "at least " if at_least else ""
    return Text(f"{lead}{_SEEN}{_EYES[action]}", ((ahead_m, "distance"),))


def _line(
    group: str, glyph: str, text: Text, ends: tuple[float | None, float | None] = (None, None),
    **more: Any,
) -> dict[str, Any]:  # fmt: skip
    said = {"text": text.as_view(), "from_m": ends[0], "to_m": ends[1]}
    return {"group": group, "glyph": glyph, **said, **more}


def _list_references(view: View, corner: View) -> list[dict[str, Any]]:
    """List what the actions are done on: the author's choices first, then what was computed."""
    words = view["words"]
    tables = (words["corners"].get(corner["id"]) or {}).get("reference_tables") or ()
    labels = {
        **{name: said["label"] for name, said in words["actions"].items()},
        **{table["action"]: table["label"] for table in tables},
    }

    def label(action: str) -> str:
        return quote_name(labels.get(action, action))

    def say_chosen(action: str, name: str) -> Text:
        return Text(f"{label(action)}: {quote_name(name)}, the author's choice")

    chosen = {one["action"]: one["reference"] for one in corner.get("chosen_references") or ()}
    out = [
        _line("done on", "chosen", say_chosen(action, name), (place, place))
        for action, name in chosen.items()
        if (place := (corner["actions"].get(action) or {}).get("median")) is not None
    ]  # fmt: skip
    for mark in view["pictures"].get("references") or ():
        if mark["corner"] == corner["id"] and mark["action"] not in chosen:
            said = join_texts([Text(f"{label(mark['action'])}:"), _as_text(mark["text"])])
            out.append(_line("done on", mark["kind"], said, (mark["at_m"], mark["at_m"])))
    return out


def _as_text(said: View) -> Text:
    return Text(said["t"], tuple(tuple(value) for value in said.get("v") or ()))


def _list_road_left(corner: View) -> list[dict[str, Any]]:
    use = corner.get("road_use") or {}
    parts = [_say_left(part, use[part]) for part in ("entry", "apex", "exit") if use.get(part)]
    if not parts:
        return []
    return [_line("edges", "left", join_texts([Text("road left:"), join_texts(parts, " · ")]))]


def _say_left(part: str, one: View) -> Text:
    """Say how much road is left, or by how much the car is past the edge."""
    verdict = "" if one["verdict"] in (None, "used") else f" ({one['verdict']})"
    if one["left_m"] < -_AT_EDGE_M:
        return Text(f"{part} none, {{0}} past the edge{verdict}", ((-one["left_m"], "offset"),))
    if one["left_m"] < _AT_EDGE_M:
        return Text(f"{part} none{verdict}")
    return Text(f"{part} {{0}}{verdict}", ((one["left_m"], "offset"),))


def _list_kerbs(view: View, corner: View) -> list[dict[str, Any]]:
    """List each lap's use of each kerb; the laps that left one alone share a line."""
    spans = {span["name"]: span for span in view["pictures"]["spans"]}
    out = []
    for kerb in corner.get("kerbs") or ():
        span = spans.get(kerb["name"])
        if span is None or span["kind"] != "kerb":
            continue
        ends, name = (span["start_m"], span["end_m"]), quote_name(kerb["name"])
        on = [use for use in kerb["uses"] if use["wheels"]]
        count: tuple[Value, ...] = ((float(len(on)), "count"), (float(len(kerb["uses"])), "count"))
        share = Text("{0} of {1} laps on it", count)
        for use in on:
            deep = max(use["depth_m"], WHEEL_KNOWN_TO_M)
            much = "" if use["depth_m"] >= WHEEL_KNOWN_TO_M else "less than "
            touched = Text(
                f"{name}: {join_words(use['wheels'])}, {much}{{0}} deep, for {{1}}",
                ((deep, "offset"), (use["length_m"], "distance")),
            )
            said = join_texts([touched, share], "; ")
            out.append(_line("kerbs", "kerb", said, ends, laps=[use["lap"]], wheels=use["wheels"]))
        off = [use["lap"] for use in kerb["uses"] if not use["wheels"]]
        if off:
            said = join_texts([Text(f"{name}: no wheel on it"), share], "; ")
            out.append(_line("kerbs", "kerb", said, ends, laps=off, wheels=[]))
    return out


def _list_charts(view: View, corner: View) -> list[dict[str, Any]]:
    """List the kerbs that laps used to different depths, each with what its picture shows."""
    patches = {span["name"] for span in view["pictures"]["spans"] if span["kind"] == "patch"}
    times = {
        row["lap"]: row["time_s"]
        for row in view["guide"]["corner_laps"]
        if row["corner"] == corner["id"] and row["time_s"] is not None
    }
    out = []
    for kerb in corner.get("kerbs") or ():
        if kerb["name"] in patches:
            continue
        depths = [use["depth_m"] for use in kerb["uses"] if use["lap"] in times]
        if len(depths) < _CHART_LAPS or max(depths) - min(depths) < _CHART_RANGE_M:
            continue
        text = Text(
            f"Depth on {quote_name(kerb['name'])} to the right, time in the corner upward, a dot "
            "for each of {0} laps, hollow where no wheel was on it.",
            ((float(len(depths)), "count"),),
        )
        out.append({"kerb": kerb["name"], "text": text.as_view()})
    return out


def _list_breaches(lap: View) -> Iterable[dict[str, Any]]:
    for one in (lap.get("track_limits") or {}).get("breaches") or ():
        past = "past" if one["sure"] else "perhaps past"
        text = Text(
            f"lap {lap['number']} {past} the bound on the {one['side']}, by {{0}} for {{1}}",
            ((one["by_m"], "offset"), (one["duration_s"], "time", 1)),
        )
        glyph = "over" if one["sure"] else "overperhaps"
        yield _line("edges", glyph, text, (one["start_m"], one["end_m"]), laps=[lap["id"]])


def _list_room(view: View, corner: View) -> list[dict[str, Any]]:
    """List of each change that asks for more the worst miss that was worked out."""
    worst: dict[str, View] = {}
    for one in corner.get("room") or ():
        if one["missed_by_m"] > worst.get(one["action"], {"missed_by_m": 0.0})["missed_by_m"]:
            worst[one["action"]] = one
    out = []
    for one in worst.values():
        said = view["words"]["actions"].get(one["action"])
        place = one["edge_m"]
        if place is None:
            place = one["today"] if said and said["is_place"] else corner["apex_m"]
        text = _say_room(one, said)
        if text is not None:
            out.append(_line("room", "room", text, (place, place)))
    return out


def _say_room(one: View, said: View | None) -> Text | None:
    change = _CHANGES[one["change"]]
    if one["change"] == "later" and one["action"] != "brake_start_m" and said:
        change = f"{said['label']} later"
    missed = Text(f"{change}, missed by {{0}}:", ((one["missed_by_m"], "distance"),))
    if one["road_left_m"] is not None:
        left = Text("stays on the road, {0} left", ((one["road_left_m"], "offset"),))
        return join_texts([missed, left])
    if one["speed_at_edge_mps"] is None:
        return None
    side = f" on the {one['side']}" if one["side"] else ""
    over = Text(f"over the edge{side} at up to {{0}}", ((one["speed_at_edge_mps"], "speed"),))
    if one["runoff_m"] is None:
        return join_texts([missed, over])
    far = "too short by" if one["runoff_m"] < 0 else "left"
    run = Text(f"run-off {far} {{0}}", ((abs(one["runoff_m"]), "distance"),))
    return join_texts([missed, join_texts([over, run], ", ")])
