"""The ledger as tables with bars, for paper."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Final

from lapwright.guide.sentences import chosen_system, write_text
from lapwright.publish.hundredths import (
    PrintedAccount,
    PrintedCorner,
    print_account,
    round_hundredths,
    tell_printed,
)

View = Mapping[str, Any]

#: So many letters of a name stand in a table; all of them on the corner's own page.
_NAME: Final = 24


def compose_accounts(view: View) -> dict[str, Any] | None:
    """Compose the chosen lap's accounts, one table each; None without a ledger."""
    ledger = view.get("ledger")
    if not ledger:
        return None
    system, words = chosen_system(view["units"]), view["words"].get("ledger") or {}

    def write_all(texts: Any) -> list[str]:
        return [write_text(text, system) for text in texts or () if text]

    return {
        "title": words.get("title", "Where the time went"),
        "sentences": [*write_all(words.get("sentences")), *write_all([ledger.get("why_null")])],
        "accounts": [_compose_account(view, label, account) for label, account in _list(view)],
        "habits": [
            f"Corner {h['corner']}. {write_text(h['text'], system)}"
            for h in ledger.get("habits") or ()
        ],
        "cautions": write_all(words.get("cautions")),
    }


def compose_costs(view: View, corner: View) -> list[dict[str, Any]]:
    """Compose what the chosen lap lost and gained in a corner, by what it is held against."""
    system, costs = chosen_system(view["units"]), []
    for label, account in _list(view):
        here = next((c for c in account.corners if c.account["corner"] == corner["id"]), None)
        if here is None:
            continue
        texts = [
            write_text(text, system)
            for row, printed in here.rows
            if row["significant"] and (text := tell_printed(row, printed))
        ]
        nothing = here.account.get("nothing")
        said = texts or ([write_text(nothing, system)] if nothing else [])
        costs.append({"against": label, "seconds": write_hundredths(here.total), "texts": said})
    return costs


def write_hundredths(hundredths: int) -> str:
    """Write a cost; a gain with its word."""
    gained = hundredths < 0
    return f"\u2212{-hundredths / 100:.2f} gained" if gained else f"{hundredths / 100:.2f}"


def _list(view: View) -> Iterator[tuple[str, PrintedAccount]]:
    """Yield the chosen lap's accounts with what it is held against."""
    ledger = view.get("ledger") or {"accounts": (), "against": ()}
    chosen = view["pictures"]["chosen_lap"]
    accounts = {a["against"]: a for a in ledger["accounts"] if a["lap"] == chosen}
    for choice in ledger["against"]:
        if choice["key"] in accounts:
            yield choice["label"], print_account(accounts[choice["key"]])


def _compose_account(view: View, label: str, account: PrintedAccount) -> dict[str, Any]:
    chosen = view["pictures"]["chosen_lap"]
    number = next(lap["number"] for lap in view["guide"]["laps"] if lap["id"] == chosen)
    order = [corner["id"] for corner in view["guide"]["corners"]]
    corners = sorted(account.corners, key=lambda c: order.index(c.account["corner"]))
    rows = [row for corner in corners for row in _list_rows(view, corner)]
    rows.append(_row("", "straights", account.straight, "sum"))
    title = f"Lap {number} against {label}"
    rows.append(_row("", f"lap {number} \u2212 {label}", account.difference, "foot"))
    drawn = [row["hundredths"] for row in rows if row["kind"] != "foot"]
    return {
        "title": title,
        "rows": rows,
        "loss": max(*drawn, 1),
        "gain": max(*(-v for v in drawn), 1),
    }


def _list_rows(view: View, corner: PrintedCorner) -> Iterator[dict[str, Any]]:
    """Yield a corner's sum, what the data shows of it, and the rest in one row."""
    system, causes = chosen_system(view["units"]), view["ledger"]["causes"]
    named = _name(view, corner.account["corner"])
    nothing = corner.account.get("nothing")
    yield _row(named, write_text(nothing, system) if nothing else "", corner.total, "sum")
    shown = [(row, printed) for row, printed in corner.rows if row["significant"]]
    for row, printed in shown:
        label = (causes.get(row["cause"]) or {"label": row["cause"]})["label"]
        yield {**_row("", label, printed, "shown"), "between": _between(row)}
    if shown and len(shown) < len(corner.rows):
        rest = corner.total - sum(printed for _, printed in shown)
        yield _row("", "not shown by this data", rest, "hollow")


def _name(view: View, corner: str) -> str:
    found = next((c for c in view["guide"]["corners"] if c["id"] == corner), None)
    name = " ".join(str(found["name"] or "").split()) if found else ""
    return f"{corner} {name if len(name) <= _NAME else name[:_NAME] + '…'}".strip()


def _row(corner: str, cause: str, hundredths: int, kind: str) -> dict[str, Any]:
    return {
        "corner": corner, "cause": cause, "hundredths": hundredths, "kind": kind,
        "seconds": write_hundredths(hundredths), "between": "",
    }  # fmt: skip


def _between(row: View) -> str:
    if row["low_s"] is None or row["high_s"] is None:
        return ""
    low, high = (round_hundredths(row[end]) / 100 for end in ("low_s", "high_s"))
    return f"{low:.2f} to {high:.2f}".replace("-", "\u2212")
