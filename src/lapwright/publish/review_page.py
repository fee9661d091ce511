"""A review as one static HTML page that asks nobody for anything."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from lapwright.guide.ledger_words import CAUSES, label_against
from lapwright.guide.sentences import round_fixed, write_lap_time, write_value
from lapwright.publish.markup import Markup, element, join, table

View = Mapping[str, Any]
_STYLE: Final = Markup(
    ":root{color-scheme:light dark}"
    "body{font:16px/1.5 system-ui,sans-serif;max-width:70rem;margin:2rem auto;padding:0 1rem;"
    "color:light-dark(#1b1d1f,#eceeea);background:light-dark(#fdfdfb,#14171a);"
    "overflow-wrap:anywhere}"
    "table{border-collapse:collapse;margin:1rem 0;font-variant-numeric:tabular-nums}"
    "th,td{padding:.25rem .6rem;text-align:left;vertical-align:top;"
    "border-bottom:1px solid light-dark(#d9dcd8,#343a3f)}"
    ".wide{overflow-x:auto}.wide td,.wide th{overflow-wrap:break-word;min-width:4.5rem}"
)
_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'"


def render_review(document: View) -> bytes:
    """Render the sheet, what all have in common, each driver, and the cautions."""
    title = f"Review on {document['guide']['circuit'] or 'the circuit'}"
    head = element(
        "head", Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        element("title", title), element("style", _STYLE),
    )  # fmt: skip
    body = element(
        "main", element("h1", title), _lede(document["guide"]), _sheet(document),
        _list("What all have in common", [a["text"] for a in document["alike"]]),
        join(_driver(d, document) for d in document["drivers"]),
        _list("Cautions", document["cautions"]),
    )  # fmt: skip
    page = element("html", head, element("body", body), lang="en")
    return f"<!doctype html>\n{page}\n".encode()


def _lede(guide: View) -> Markup:
    who = f" by {guide['driver']}" if guide["driver"] else ""
    time = write_lap_time(guide["time_s"])
    text = f"Held against lap {guide['lap']} of the guide{who}, {time}."
    return element("p", text, *[f" {guide['car_why_null']}"] if guide["car_why_null"] else [])


def _sheet(document: View) -> Markup:
    sheet = document["sheet"]
    rows = (
        (row["driver"], _seconds(row["difference_s"]), *(_cell(c) for c in row["cells"]),
         _seconds(row["straight_s"]))
        for row in sheet["rows"]
    )  # fmt: skip
    head = ("Driver", "A lap", *(f"Corner {c}" for c in sheet["corners"]), "Straights")
    note = "Mean seconds lost a lap to the guide's lap, with the main cause; below zero is a gain."
    return join([
        element("h2", "Drivers and corners"), element("p", note),
        element("div", table(head, rows), class_="wide", tabindex="0", role="region",
                aria_label="Drivers and corners"),
    ])  # fmt: skip


def _cell(cell: View) -> str:
    label = f" {CAUSES[cell['cause']].label}" if cell["cause"] else ""
    return f"{_seconds(cell['cost_s'])}{label}"


def _driver(one: View, document: View) -> Markup:
    system = document["units"]
    since = [s for s in document["since"] or () if s["driver"] == one["name"]]
    came = [g["text"] for s in since for g in s["goals"]]
    came += [s["why_null"] for s in since if s["why_null"]]
    return element(
        "section", element("h2", one["name"]),
        join(element("p", text) for text in one["day"]["sentences"]),
        _list("What came of the goals", came),
        element("h3", "Order of work"),
        element("ol", join(element("li", _work(i, system)) for i in one["order_of_work"]))
        if one["order_of_work"]
        else element("p", "No cause was worth enough, by what these laps can show."),
        element("h3", "Where the time went"),
        table(("Corner", "Cause", "Mean cost"), _costs(one)),
        join(
            element("p", f"{held}: {_seconds(d)} on a middle lap.") for held, d in _held(one)
        ),
    )  # fmt: skip


def _work(item: View, system: View) -> str:
    parts = [f"{item['what']}."]
    if item["goal_text"]:
        within = f", give or take {item['tolerance_text']}" if item["tolerance_text"] else ""
        parts.append(f"Goal for the next session: {item['goal_text']}{within}.")
        parts.append(f"Today: {item['today_text']}; shown: {item['shown_text']}.")
    parts.append(f"{item['evidence'][:1].upper()}{item['evidence'][1:]}. {item['drill']}")
    worth = [write_value(item[k], "time", system, 2) for k in ("worth_s", "promised_s")]
    return " ".join([*parts, f"Worth {worth[0]} a lap, this step {worth[1]}."])


def _costs(one: View) -> Iterable[tuple[str, ...]]:
    rows = sorted(one["mean_costs"], key=lambda r: -abs(r["cost_s"]))
    for row in rows:
        if abs(row["cost_s"]) >= 0.02:
            yield f"Corner {row['corner']}", CAUSES[row["cause"]].label, _seconds(row["cost_s"])


def _held(one: View) -> list[tuple[str, float]]:
    by: dict[str, list[float]] = {}
    for account in one["ledger"]:
        by.setdefault(account["against"], []).append(account["difference_s"])
    middle = {k: sorted(v)[len(v) // 2] for k, v in by.items()}
    return [(f"Against {label_against(k)}", v) for k, v in middle.items()]


def _list(title: str, texts: Iterable[str]) -> Markup | None:
    said = [element("li", text) for text in texts]
    return join([element("h3", title), element("ul", join(said))]) if said else None


def _seconds(value: float) -> str:
    return f"{round_fixed(value, 2)}\u00a0s"
