"""The guide as the pages of its PDF take it: texts, tables, pictures, in reading order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, Final

from lapwright.guide.mark_words import TOPIC_TITLES
from lapwright.guide.sentences import chosen_system, write_joined, write_text, write_value
from lapwright.publish.pdf_ledger import compose_accounts, compose_costs
from lapwright.publish.pdf_plan import draw_inset, draw_plan
from lapwright.publish.pdf_ribbon import draw_ribbon
from lapwright.publish.plain import list_actions
from lapwright.publish.roles import ROLES

View = Mapping[str, Any]

_NOT_ON_PAPER: Final = (
    "brake_rise_s", "mean_deceleration_mps2", "brake_throttle_overlap_s", "distance_driven_m",
    "apex_m", "entry_edge_m", "time_to_full_throttle_s",
)  # fmt: skip
#: What is said of a corner on its own page; all else stands behind the corners.
_ON_ITS_PAGE: Final = ("possible", "room")
_PLAN_KEY: Final = "Corners that time is lost in are drawn in colour, thicker for more of it."


def compose_pdf_document(view: View) -> dict[str, Any]:
    """Compose the document that the template sets: plain text and SVG, no mark-up."""
    system, guide, words = chosen_system(view["units"]), view["guide"], view["words"]
    plan, plan_alt = draw_plan(view, 300.0, 300.0)
    return {
        "title": words["title"],
        "lede": write_text(words["lede"], system),
        "date": _find_date(guide["session"].get("date")),
        "roles": ROLES,
        "facts": [[f["label"], write_text(f["text"], system)] for f in words["facts"]],
        "plan": {"svg": plan, "alt": plan_alt, "key": _PLAN_KEY},
        "work": [_compose_item(item, system) for item in view.get("order_of_work") or ()],
        "work_why_empty": guide.get("order_of_work_why_empty") or "",
        "cautions": list(guide["cautions"]),
        "ledger": compose_accounts(view),
        "stints": _compose_words(view, "stints"),
        "possible": _compose_words(view, "possible"),
        "corners": [_compose_corner(view, corner) for corner in guide["corners"]],
        "notes": [write_text(t, system) for t in (words.get("notes") or {}).get("unfit") or ()],
        "method": _compose_method(view),
    }


def _find_date(text: Any) -> dict[str, int] | None:
    """Return the day of the session where it is written as a standard day."""
    try:
        day = date.fromisoformat(str(text or "")[:10])
    except ValueError:
        return None
    return {"year": day.year, "month": day.month, "day": day.day}


def _compose_item(item: View, system: View) -> dict[str, str]:
    bare = {
        key: write_text(item[key], system).rstrip(".") if item.get(key) else ""
        for key in ("what", "goal", "tolerance")
    }
    return {
        **bare,
        "said": write_joined([item.get("evidence"), item.get("reference")], "; ", system),
        "aim": write_joined(
            [item.get(k) for k in ("goal", "tolerance", "so_far")], ", ", system, "Goal: "
        ),
        "worth": write_joined([item.get("worth")], "", system),
        "seconds": write_value(item["worth_s"], "time", system, 2) if "worth_s" in item else "",
    }


def _compose_words(view: View, key: str) -> dict[str, Any] | None:
    words = view["words"].get(key)
    if not words:
        return None
    system = chosen_system(view["units"])
    texts = [*words["sentences"], *([words["why_null"]] if words.get("why_null") else [])]
    return {"title": words["title"], "texts": [write_text(t, system) for t in texts]}


def _compose_corner(view: View, corner: View) -> dict[str, Any]:
    system = chosen_system(view["units"])
    words = view["words"]["corners"].get(corner["id"]) or {}

    def write_all(key: str) -> list[str]:
        return [write_text(text, system) for text in words.get(key) or ()]

    ribbon, ribbon_alt = draw_ribbon(view, corner)
    inset, inset_alt = draw_inset(view, corner, 150.0, 104.0)
    note = words.get("spread_note")
    return {
        "title": write_text(words["title"], system) if words else f"Corner {corner['id']}",
        "why": write_text(words["why"], system) if words else "",
        "orders": write_all("instructions"),
        "ribbon": {"svg": ribbon, "alt": ribbon_alt},
        "inset": {"svg": inset, "alt": inset_alt},
        "key": _write_key(view),
        "costs": compose_costs(view, corner),
        "worth": _compose_worth(corner, system),
        "blocks": [{"title": title, "texts": write_all(key)}
                   for key, title in TOPIC_TITLES if words.get(key) and key in _ON_ITS_PAGE],
        "more": [{"title": title, "texts": write_all(key)}
                 for key, title in TOPIC_TITLES if words.get(key) and key not in _ON_ITS_PAGE],
        "actions": [list(row) for row in list_actions(view, _leave_out(corner), system)],
        "spread_note": write_text(note, system) if note else "",
        "notes": [str(note) for note in corner.get("notes") or ()],
    }  # fmt: skip


def _leave_out(corner: View) -> View:
    """Leave out the actions that a page has no room for; the page on screen has them all."""
    kept = {
        name: action
        for name, action in corner["actions"].items()
        if name not in _NOT_ON_PAPER and action["median"] is not None
    }
    return {**corner, "actions": kept}


def _write_key(view: View) -> str:
    """Say which line of a picture is which lap."""
    pictures = view["pictures"]
    numbers = {lap["id"]: lap["number"] for lap in view["guide"]["laps"]}
    named = [f"solid: lap {numbers.get(pictures['chosen_lap'])}"]
    if pictures["compare_lap"] in numbers:
        named.append(f"dashed: lap {numbers[pictures['compare_lap']]}")
    return "; ".join(
        [
            *named,
            "thin: the other laps; hatched: kerbs; a bar on a dot: its spread; "
            "from an edge inward: road left, broken where it is worth nothing",
        ]
    )


def _compose_worth(corner: View, system: View) -> list[list[str]]:
    """Compose what a metre of road is worth at entry, apex and exit; empty where unknown."""
    worth = corner.get("road_worth") or {}
    rows = []
    for place in ("entry", "apex", "exit"):
        at = worth.get(place)
        if isinstance(at, Mapping) and at.get("s_per_m") is not None:
            rows.append([
                place, write_value(at["s_per_m"], "time", system, 3) + " a metre",
                write_value(at.get("unused_m"), "offset", system),
                write_value(at.get("unused_worth_s"), "time", system),
            ])  # fmt: skip
    return rows


def _compose_method(view: View) -> dict[str, Any]:
    system, guide = chosen_system(view["units"]), view["guide"]
    recording = guide["recording"]
    return {
        "laps": [_write_lap(lap, system) for lap in guide["laps"]],
        "missing": [write_text(text, system) for text in view["words"]["missing"]],
        "channels": _list_channels(recording["channels"], system),
        "repairs": [
            f"{r['channel']}, {r['from_s']:.1f} to {r['to_s']:.1f} s: {r['what']}"
            for r in recording["repairs"]
        ],
        "sentences": [
            write_text(text, system)
            for key in ("sight",)
            for text in (view["words"].get(key) or {}).get("sentences") or ()
        ],
        "made_by": f"{guide['made_by']['program']} {guide['made_by']['version']}",
        "inputs": [f"{i['file']}, SHA-256 {i['sha256'][:16]}…" for i in guide["made_by"]["inputs"]],
    }


def _write_lap(lap: View, system: View) -> list[str]:
    use = "used" if lap["used"] else f"set aside: {lap['why_not']}"
    return [f"Lap {lap['number']}", write_value(lap["time_s"], "lap_time", system), use]


def _list_channels(channels: Iterable[View], system: View) -> list[list[str]]:
    return [
        [
            str(c["name"]), str(c["original"] or ""), str(c["how_known"] or ""),
            write_value(c.get("delay_s"), "time", system),
        ]
        for c in channels
    ]  # fmt: skip
