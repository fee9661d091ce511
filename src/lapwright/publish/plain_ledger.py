"""Order of work, ledger and sections of words in plain HTML: tables instead of pictures."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from lapwright.guide.sentences import chosen_system, write_joined, write_text, write_value
from lapwright.publish.hundredths import PrintedAccount, print_account, tell_printed
from lapwright.publish.markup import Markup, element, join, table

View = Mapping[str, Any]


def render_work(view: View) -> Markup | None:
    """Render the order of work: evidence first, seconds last; None without one."""
    items = view.get("order_of_work")
    if not items:
        return None
    return element(
        "section",
        element("h2", "Order of work"),
        element("ol", join(element("li", _say_item(item, view)) for item in items)),
    )


def _say_item(item: View, view: View) -> str:
    system = chosen_system(view["units"])
    parts = [
        write_joined([item["what"]], "", system),
        write_joined([item.get("evidence"), item.get("reference")], "; ", system),
        write_joined(
            [item.get(k) for k in ("goal", "tolerance", "so_far")], ", ", system, "Goal: "
        ),
        write_joined([item.get("worth")], "", system),
    ]
    return " ".join(part for part in parts if part)


def render_ledger(view: View) -> Markup | None:
    """Render the chosen lap's accounts, one table each; None without a ledger."""
    ledger = view.get("ledger")
    if not ledger:
        return None
    system, words = chosen_system(view["units"]), view["words"].get("ledger") or {}
    chosen = view["pictures"]["chosen_lap"]
    accounts = {a["against"]: a for a in ledger["accounts"] if a["lap"] == chosen}
    return element(
        "section",
        element("h2", words.get("title", "Where the time went")),
        _paragraphs(words.get("sentences", ()), system),
        _paragraphs([t for t in (ledger.get("why_null"),) if t], system),
        join(
            _account(view, choice["label"], print_account(accounts[choice["key"]]))
            for choice in ledger["against"]
            if choice["key"] in accounts
        ),
        element("ul", join(element("li", _say_habit(view, h, system))
                           for h in ledger["habits"])) if ledger.get("habits") else None,
        _paragraphs(words.get("cautions", ()), system),
        class_="accounts",
    )  # fmt: skip


def _account(view: View, against: str, account: PrintedAccount) -> Markup:
    chosen = view["pictures"]["chosen_lap"]
    number = next(lap["number"] for lap in view["guide"]["laps"] if lap["id"] == chosen)
    rows = [*_rows(view, account)]
    rows.append(("straights", "", _seconds(account.straight), "", ""))
    rows.append((f"lap {number} \u2212 {against}", "", _seconds(account.difference), "", ""))
    return join(
        [
            element("h3", f"Lap {number} against {against}"),
            table(("Corner", "Cause", "s", "90 % within", "What happened"), rows),
        ]
    )


def _rows(view: View, account: PrintedAccount) -> Iterable[tuple[str, ...]]:
    """Yield each corner's sum, what the data shows of it, and the rest in one row."""
    system, causes = chosen_system(view["units"]), view["ledger"]["causes"]
    for corner in account.corners:
        title = _title(view, corner.account["corner"], system)
        nothing = corner.account.get("nothing")
        said = write_text(nothing, system) if nothing else ""
        yield title, "together", _seconds(corner.total), "", said
        shown = [(row, printed) for row, printed in corner.rows if row["significant"]]
        for row, printed in shown:
            text = tell_printed(row, printed)
            known = causes.get(row["cause"]) or {"label": row["cause"]}
            words = write_text(text, system) if text else ""
            yield title, known["label"], _seconds(printed), _between(row, system), words
        if shown and len(shown) < len(corner.rows):
            rest = corner.total - sum(printed for _, printed in shown)
            yield title, "not shown by this data", _seconds(rest), "", ""


def _title(view: View, corner: str, system: View) -> str:
    words = view["words"]["corners"].get(corner)
    return write_text(words["title"], system) if words else f"Corner {corner}"


def _say_habit(view: View, habit: View, system: View) -> str:
    return f"{_title(view, habit['corner'], system)}: {write_text(habit['text'], system)}"


def _between(row: View, system: View) -> str:
    if row["low_s"] is None or row["high_s"] is None:
        return ""
    low, high = (write_value(row[end], "time", system, 2) for end in ("low_s", "high_s"))
    return f"{low} to {high}"


def _seconds(hundredths: int) -> str:
    if hundredths < 0:
        return f"\u2212{-hundredths / 100:.2f} gained"
    return f"{hundredths / 100:.2f}"


def render_words(view: View, key: str) -> Markup | None:
    """Render a section that is words alone; None where there are none."""
    words = view["words"].get(key)
    if not words:
        return None
    system = chosen_system(view["units"])
    texts = [*words["sentences"], *([words["why_null"]] if words.get("why_null") else [])]
    return element("section", element("h2", words["title"]), _paragraphs(texts, system))


def _paragraphs(texts: Iterable[View], system: View) -> Markup:
    return join(element("p", write_text(text, system)) for text in texts)
