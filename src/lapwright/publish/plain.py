"""The guide in plain HTML, with the pictures of its paper: it stands where no script runs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from lapwright.guide.figures import width_figure
from lapwright.guide.mark_words import TOPIC_TITLES
from lapwright.guide.sentences import chosen_system, write_text, write_value
from lapwright.publish.markup import Markup, element, join, table
from lapwright.publish.plain_ledger import render_ledger, render_words, render_work
from lapwright.publish.plain_pictures import render_corner, render_plan

View = Mapping[str, Any]


def render_plain(view: View) -> Markup:
    """Render the guide in words and tables, with the circuit and each corner from above.

    Facts, order of work, laps, who drove, the ledger of the chosen lap, what is possible and
    seen, all that is said of each corner, its actions, what is missing and the cautions.
    """
    system = chosen_system(view["units"])
    words = view["words"]
    return element(
        "main",
        element("header", element("h1", words["title"]),
                element("p", write_text(words["lede"], system), class_="lede")),
        render_plan(view), _facts(words["facts"], system),
        render_work(view),
        element("h2", "Laps"), _laps(view["guide"]["laps"], system),
        render_words(view, "stints"), render_ledger(view), render_words(view, "possible"),
        render_words(view, "sight"),
        join(_corner(view, corner, system) for corner in view["guide"]["corners"]),
        _texts("What is missing", [write_text(t, system) for t in words["missing"]]),
        _texts("Notes that no longer fit",
               [write_text(t, system) for t in (words.get("notes") or {}).get("unfit") or ()]),
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


def _laps(laps: list[Any], system: View) -> Markup:
    rows = (
        (
            f"Lap {lap['number']}",
            write_value(lap["time_s"], "lap_time", system),
            "used" if lap["used"] else f"set aside: {lap['why_not']}",
        )
        for lap in laps
    )
    return table(("Lap", "Time", "Use"), rows)


def _corner(view: View, corner: View, system: View) -> Markup:
    words = view["words"]["corners"].get(corner["id"])
    title = write_text(words["title"], system) if words else f"Corner {corner['id']}"
    orders = words["instructions"] if words else []
    return element(
        "section",
        element("h2", title),
        element("p", write_text(words["why"], system)) if words else None,
        render_corner(view, corner),
        element("ol", join(element("li", write_text(t, system)) for t in orders)),
        join(_block(title, (words or {}).get(key) or (), system) for key, title in TOPIC_TITLES),
        table(("What", "Median", "Spread", "Laps"), list_actions(view, corner, system)),
        _notes(corner.get("notes") or ()),
    )


def _block(title: str, texts: Iterable[View], system: View) -> Markup:
    said = join(element("p", write_text(text, system)) for text in texts)
    return join([element("h3", title), said] if said else [])


def _notes(notes: Iterable[str]) -> Markup | None:
    """Render the author's own words, apart from what was computed."""
    said = join(element("p", note) for note in notes)
    return element("aside", element("h3", "The author's notes"), said) if said else None


def list_actions(view: View, corner: View, system: View) -> Iterable[tuple[str, ...]]:
    """Yield a corner's actions: what, median, spread, on how many laps."""
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
            _spread(action, said["quantity"], system),
            str(action["n"]),
        )


def _median(view: View, corner: View, said: View, median: float, system: View) -> str:
    if not said["is_place"]:
        return write_value(median, said["quantity"], system)
    length = view["guide"]["circuit"]["length_m"]
    behind = (median - corner["apex_m"] + length / 2) % length - length / 2
    side = "before the apex" if behind < 0 else "after the apex"
    return f"{write_value(abs(behind), said['quantity'], system)} {side}"


def _spread(action: View, quantity: str, system: View) -> str:
    """Write how an action repeats; one that the log cannot tell from none is below its floor."""
    spread, floor = action["spread"], action["floor"] or 0.0
    if spread is None:
        return ""
    if not max(spread, floor) > 0.0:
        return "alike"
    width, fine, *decimals = width_figure(max(spread, floor), quantity)
    written = write_value(width, fine, system, *decimals)
    return f"{'under ' if spread <= floor else ''}±\u00a0{written}"


def _texts(title: str, texts: list[str]) -> Markup:
    if not texts:
        return Markup("")
    return element("section", element("h2", title), element("ul", join(
        element("li", text) for text in texts)))  # fmt: skip
