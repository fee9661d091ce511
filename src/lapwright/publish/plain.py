"""The guide without its pictures: plain HTML that stands where no script runs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from html import escape
from typing import Any

from lapwright.guide.sentences import chosen_system, write_text, write_value

View = Mapping[str, Any]


class Markup(str):
    """Text that is HTML already; every other text is escaped on its way in."""

    __slots__ = ()


def element(tag: str, *children: object, **attributes: str) -> Markup:
    """Make an element; text children and attributes are escaped, None is left out.

    A trailing underscore of an attribute's name is dropped (``class_``).
    """
    inside = "".join(
        child if isinstance(child, Markup) else escape(str(child))
        for child in children
        if child is not None
    )
    names = (f' {key.rstrip("_")}="{escape(value)}"' for key, value in attributes.items())
    return Markup(f"<{tag}{''.join(names)}>{inside}</{tag}>")


def join(parts: Iterable[Markup]) -> Markup:
    """Put pieces of HTML one after another."""
    return Markup("".join(parts))


def render_plain(view: View) -> Markup:
    """Render facts, laps, each corner's actions, what is missing and the cautions."""
    system = chosen_system(view["units"])
    words = view["words"]
    return element(
        "main",
        element("header", element("h1", words["title"]),
                element("p", write_text(words["lede"], system), class_="lede")),
        _facts(words["facts"], system),
        element("h2", "Laps"), _laps(view["guide"]["laps"], system),
        join(_corner(view, corner, system) for corner in view["guide"]["corners"]),
        _texts("What is missing", [write_text(t, system) for t in words["missing"]]),
        _texts("Cautions", view["guide"]["cautions"]),
        class_="plain",
    )  # fmt: skip


def _facts(facts: list[Any], system: View) -> Markup:
    return element(
        "dl",
        join(
            element("div", element("dt", f["label"]), element("dd", write_text(f["text"], system)))
            for f in facts
        ),
        class_="facts",
    )


def _table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> Markup:
    body = join(
        element("tr", element("th", first, scope="row"), join(element("td", c) for c in rest))
        for first, *rest in rows
    )
    top = element("tr", join(element("th", cell, scope="col") for cell in head))
    return element("table", element("thead", top), element("tbody", body))


def _laps(laps: list[Any], system: View) -> Markup:
    rows = (
        (
            f"Lap {lap['number']}",
            write_value(lap["time_s"], "lap_time", system),
            "used" if lap["used"] else f"set aside: {lap['why_not']}",
        )
        for lap in laps
    )
    return _table(("Lap", "Time", "Use"), rows)


def _corner(view: View, corner: View, system: View) -> Markup:
    words = view["words"]["corners"].get(corner["id"])
    title = write_text(words["title"], system) if words else f"Corner {corner['id']}"
    orders = words["instructions"] if words else []
    return element(
        "section",
        element("h2", title),
        element("p", write_text(words["why"], system)) if words else None,
        element("ol", join(element("li", write_text(t, system)) for t in orders)),
        _table(("What", "Median", "Spread", "Laps"), _actions(view, corner, system)),
    )


def _actions(view: View, corner: View, system: View) -> Iterable[tuple[str, ...]]:
    for name, said in view["words"]["actions"].items():
        action = corner["actions"].get(name)
        if action is None:
            continue
        if action["median"] is None:
            yield said["label"], action["why_null"] or "not known", "", ""
            continue
        yield (
            said["label"],
            _median(view, corner, said, action["median"], system),
            _spread(action["spread"], said["quantity"], system),
            str(action["n"]),
        )


def _median(view: View, corner: View, said: View, median: float, system: View) -> str:
    if not said["is_place"]:
        return write_value(median, said["quantity"], system)
    length = view["guide"]["circuit"]["length_m"]
    behind = (median - corner["apex_m"] + length / 2) % length - length / 2
    side = "before the apex" if behind < 0 else "after the apex"
    return f"{write_value(abs(behind), said['quantity'], system)} {side}"


def _spread(spread: float | None, quantity: str, system: View) -> str:
    if spread is None:
        return ""
    fine = "offset" if quantity == "distance" else quantity
    return "±\u00a0" + write_value(spread, fine, system)


def _texts(title: str, texts: list[str]) -> Markup:
    if not texts:
        return Markup("")
    return element("section", element("h2", title), element("ul", join(
        element("li", text) for text in texts)))  # fmt: skip
