"""A review in words and tables, as page and PDF take it: plain text in reading order."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from lapwright.guide.ledger_words import CAUSES, label_against
from lapwright.guide.review_record import say_cause
from lapwright.guide.sentences import round_fixed, write_lap_time, write_value

View = Mapping[str, Any]
#: Costs below this are not listed, s.
LEAST_S: Final = 0.05
_SHEET_NOTE: Final = (
    "Mean seconds lost a lap to the guide's lap, with the main cause; below zero is a gain."
)


def compose_review_pages(document: View) -> dict[str, Any]:
    """Compose what a review's page and PDF say."""
    return {
        "title": f"Review on {document['guide']['circuit'] or 'the circuit'}",
        "lede": _say_lede(document["guide"]),
        "sheet": _compose_sheet(document["sheet"]),
        "alike": [a["text"] for a in document["alike"]],
        "drivers": [_compose_driver(d, document) for d in document["drivers"]],
        "record": _compose_record(document["record"], document["units"]),
        "cautions": list(document["cautions"]),
        "made_by": f"{document['made_by']['program']} {document['made_by']['version']}",
        "inputs": [
            f"{i['file']}, SHA-256 {i['sha256'][:16]}…" for i in document["made_by"]["inputs"]
        ],
    }


def _say_lede(guide: View) -> str:
    who = f" by {guide['driver']}" if guide["driver"] else ""
    text = f"Held against lap {guide['lap']} of the guide{who}, {write_lap_time(guide['time_s'])}."
    return f"{text} {guide['car_why_null']}" if guide["car_why_null"] else text


def _compose_sheet(sheet: View) -> dict[str, Any]:
    """Compose a column for each driver: a lap, each corner, the straights."""
    names = ["A lap", *(f"Corner {c}" for c in sheet["corners"]), "Straights"]
    columns = [
        [_cell(row["difference_s"]), *(_cell(c["cost_s"], c["cause"]) for c in row["cells"]),
         _cell(row["straight_s"])]
        for row in sheet["rows"]
    ]  # fmt: skip
    drivers = [row["driver"] for row in sheet["rows"]]
    return {"note": _SHEET_NOTE, "names": names, "drivers": drivers, "columns": columns}


def _cell(cost_s: float, cause: str | None = None) -> dict[str, str]:
    return {"cost": _seconds(cost_s), "cause": CAUSES[cause].label if cause else ""}


def _compose_driver(one: View, document: View) -> dict[str, Any]:
    system = document["units"]
    since = [s for s in document["since"] or () if s["driver"] == one["name"]]
    came = [s["day"]["text"] for s in since if s["day"]]
    came += [g["text"] for s in since for g in s["goals"]]
    came += [s["why_null"] for s in since if s["why_null"]]
    return {
        "name": one["name"],
        "day": list(one["day"]["sentences"]),
        "came": came,
        "work": [_compose_item(i, system) for i in one["order_of_work"]],
        "work_why_empty": "No cause was worth enough, by what these laps can show.",
        "costs": list(_list_costs(one)),
        "held": [f"Against {label_against(k)}: {_seconds(d)} on a middle lap." for k, d in
                 _find_held(one)],
    }  # fmt: skip


def _compose_item(item: View, system: View) -> dict[str, str]:
    goal = ""
    if item["goal_text"]:
        within = f", give or take {item['tolerance_text']}" if item["tolerance_text"] else ""
        goal = f"Goal for the next session: {item['goal_text']}{within}."
    today = f"Today: {item['today_text']}" if item["today_text"] else ""
    if today and item["shown_text"]:
        today += f"; shown: {item['shown_text']}"
    worth, step = (write_value(item[k], "time", system, 2) for k in ("worth_s", "promised_s"))
    evidence = item["evidence"]
    return {
        "what": f"{item['what']}.",
        "evidence": f"{evidence[:1].upper()}{evidence[1:]}.",
        "goal": goal,
        "today": f"{today}." if today else "",
        "reference": item["reference"] or "",
        "drill": item["drill"],
        "room": item["room_text"] or "",
        "worth": f"Worth {worth} a lap, this step {step}.",
    }


def _list_costs(one: View) -> Iterable[tuple[str, str, str]]:
    for row in sorted(one["mean_costs"], key=lambda r: -abs(r["cost_s"])):
        if abs(row["cost_s"]) >= LEAST_S:
            yield f"Corner {row['corner']}", CAUSES[row["cause"]].label, _seconds(row["cost_s"])


def _find_held(one: View) -> list[tuple[str, float]]:
    by: dict[str, list[float]] = {}
    for account in one["ledger"]:
        by.setdefault(account["against"], []).append(account["difference_s"])
    return [(k, sorted(v)[len(v) // 2]) for k, v in by.items()]


def _compose_record(record: View, system: View) -> dict[str, Any]:
    return {
        "texts": list(record["text"]),
        "head": ["Cause", "Goals", "Promised", "Came"],
        "rows": [list(say_cause(row, system)) for row in record["by_cause"]],
    }


def _seconds(value: float) -> str:
    return f"{round_fixed(value, 2)}\u00a0s"
