"""A review as one static HTML page that asks nobody for anything."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Final

from lapwright.publish.markup import Markup, element, join, table
from lapwright.publish.review_pages import compose_review_pages

View = Mapping[str, Any]
_STYLE: Final = Markup(
    ":root{color-scheme:light dark;--soft:light-dark(#565b60,#a9afb4);"
    "--rule:light-dark(#d9dcd8,#343a3f)}"
    "body{font:16px/1.5 system-ui,sans-serif;max-width:70rem;margin:2rem auto;padding:0 1rem;"
    "color:light-dark(#1b1d1f,#eceeea);background:light-dark(#fdfdfb,#14171a);"
    "overflow-wrap:anywhere}"
    "h1{font-size:1.9rem;line-height:1.2}h2{font-size:1.35rem;margin-top:2.5rem}"
    "h3{font-size:1.05rem;margin-top:1.6rem}p,li{max-width:44rem}"
    "table{border-collapse:collapse;margin:1rem 0;font-variant-numeric:tabular-nums}"
    "th,td{padding:.25rem .7rem .25rem 0;text-align:left;vertical-align:top;"
    "border-bottom:1px solid var(--rule)}"
    ".wide{overflow-x:auto}.wide td,.wide th{overflow-wrap:break-word;min-width:5.5rem}"
    ".soft,td small{color:var(--soft)}td small{display:block;font-size:.85rem}"
    "ol>li{margin-bottom:1.1rem}ol strong{display:block}"
    "@media print{section{break-before:page}}"
)
_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'"


def render_review(document: View) -> bytes:
    """Render the sheet, what all have in common, each driver, the record, and the cautions."""
    said = compose_review_pages(document)
    head = element(
        "head", Markup('<meta charset="utf-8">'),
        Markup(f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'),
        Markup('<meta name="viewport" content="width=device-width, initial-scale=1">'),
        element("title", said["title"]), element("style", _STYLE),
    )  # fmt: skip
    body = element(
        "main", element("h1", said["title"]), element("p", said["lede"]), _sheet(said["sheet"]),
        _list("h3", "What all have in common", said["alike"]),
        join(_driver(d) for d in said["drivers"]), _record(said["record"]),
        _list("h2", "Cautions", said["cautions"]),
    )  # fmt: skip
    page = element("html", head, element("body", body), lang="en")
    return f"<!doctype html>\n{page}\n".encode()


def _sheet(sheet: View) -> Markup:
    head = element("tr", *(element("th", x, scope="col") for x in ("Where", *sheet["drivers"])))
    rows = join(
        element(
            "tr", element("th", name, scope="row"),
            *(_cell(column[i]) for column in sheet["columns"]),
        )
        for i, name in enumerate(sheet["names"])
    )  # fmt: skip
    return join([
        element("h2", "Drivers and corners"), element("p", sheet["note"]),
        element("div", element("table", element("thead", head), element("tbody", rows)),
                class_="wide", tabindex="0", role="region", aria_label="Drivers and corners"),
    ])  # fmt: skip


def _cell(cell: View) -> Markup:
    return element("td", cell["cost"], element("small", cell["cause"]) if cell["cause"] else None)


def _driver(one: View) -> Markup:
    return element(
        "section", element("h2", one["name"]),
        _list("h3", "What came of the goals", one["came"]),
        element("h3", "Order of work"),
        element("ol", join(_item(i) for i in one["work"]))
        if one["work"]
        else element("p", one["work_why_empty"]),
        element("h3", "Car and day"),
        join(element("p", text) for text in one["day"]),
        element("h3", "Where the time went"),
        table(("Corner", "Cause", "Mean cost"), one["costs"]) if one["costs"] else None,
        join(element("p", text) for text in one["held"]),
    )  # fmt: skip


def _item(item: View) -> Markup:
    rest = (item[k] for k in ("goal", "today", "reference", "worth"))
    soft = " ".join(item[k] for k in ("evidence", "drill", "room") if item[k])
    return element(
        "li", element("strong", item["what"]), " ".join(x for x in rest if x),
        Markup("<br>"), element("span", soft, class_="soft"),
    )  # fmt: skip


def _record(record: View) -> Markup:
    return join([
        element("h2", "This guide's own record"),
        *(element("p", text) for text in record["texts"]),
        *([table(record["head"], record["rows"])] if record["rows"] else []),
    ])  # fmt: skip


def _list(level: str, title: str, texts: Iterable[str]) -> Markup | None:
    said = [element("li", text) for text in texts]
    return join([element(level, title), element("ul", join(said))]) if said else None
