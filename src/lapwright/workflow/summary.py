"""A guide in ten lines, for the terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


def render_summary(document: Mapping[str, Any]) -> str:
    """Say in at most ten lines what a guide document says."""
    circuit, laps = document["circuit"], document["laps"]
    used = [lap for lap in laps if lap["used"]]
    aside = [lap for lap in laps if not lap["used"]]
    times = sorted(lap["time_s"] for lap in used)
    surveyed = "surveyed" if circuit["surveyed"] else "edges not surveyed: road seen in use"
    lines = [
        f"{circuit['name'] or 'Circuit'}: {circuit['length_m']:.0f} m, {circuit['turns']}, "
        f"{surveyed}, {len(document['corners'])} corners",
        f"{len(used)} laps count, {times[0]:.2f} to {times[-1]:.2f} s; {len(aside)} set aside"
        + (f": {_say_reasons(aside)}" if aside else ""),
    ]
    loosest = sorted(document["corners"], key=_looseness, reverse=True)
    for corner in loosest[:3]:
        action = corner["actions"]["brake_start_m"]
        if action["spread"] is not None:
            lines.append(
                f"Corner {corner['id']}: brakes within ± {action['spread']:.1f} m over "
                f"{action['n']} laps; ± 10 ms would be {action['human_floor']:.1f} m"
            )
    lines += [f"Mended: {_count(document)} stretches" if _count(document) else "Nothing was mended"]
    lines += [str(document["cautions"][0])] if document["cautions"] else []
    return "\n".join(lines)


def render_possible(document: Mapping[str, Any]) -> str:
    """Say what a document of ``lapwright possible`` says: the lap, corner by corner, cautions."""
    name = document["circuit"]["name"] or "the circuit"
    what = "Fastest line" if document["kind"] == "fastest_line" else "On the given line"
    lines = [f"{what} on {name}, {document['circuit']['length_m']:.0f} m: ", ""]
    lines[0] += f"{document['lap_time_s']:.2f} s for this car as given"
    for corner in document.get("corners", ()):
        worth = ", ".join(
            f"{part} {zone['s_per_m']:.3f}" for part, zone in corner["road_worth"].items()
        )
        margin = corner["flat_margin"]["value"]
        flat = "" if margin is None else f"; grip left at full throttle {100 * margin:+.0f} %"
        lines.append(f"Corner {corner['id']}: a metre of road is worth {worth} s{flat}")
    if document.get("corners_why_empty"):
        lines.append(f"No corners: {document['corners_why_empty']}")
    return "\n".join([*lines, "", *document["cautions"]])


def _say_reasons(aside: Sequence[Mapping[str, Any]]) -> str:
    by_reason: dict[str, list[str]] = {}
    for lap in aside:
        by_reason.setdefault(str(lap["why_not"]), []).append(str(lap["id"]))
    return "; ".join(f"{', '.join(ids)} ({why})" for why, ids in by_reason.items())


def _looseness(corner: Mapping[str, Any]) -> float:
    action = corner["actions"]["brake_start_m"]
    return float(action["spread"] or 0.0)


def _count(document: Mapping[str, Any]) -> int:
    return len(document["recording"]["repairs"])


def render_review_summary(document: Mapping[str, Any]) -> str:
    """Say what a review says: each driver's loss and first goal, what is common, a caution."""
    lines = []
    for one, row in zip(document["drivers"], document["sheet"]["rows"], strict=True):
        first = one["order_of_work"][0]["what"] if one["order_of_work"] else "nothing stands out"
        lines.append(f"{one['name']}: {row['difference_s']:+.2f} s a lap; first: {first}")
    lines += [a["text"] for a in document["alike"] if not a["everywhere"]]
    lines += [g["text"] for s in document["since"] or () for g in s["goals"]]
    lines += document["record"]["text"] if document["since"] else []
    return "\n".join([*lines, *document["cautions"][:1]])
