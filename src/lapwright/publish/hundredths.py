"""Costs as whole hundredths of a second that add up, by the largest remainder.

``web/src/account.ts`` follows the same rule.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor
from typing import Any


@dataclass(frozen=True)
class PrintedCorner:
    """One corner of an account: its sum, and its rows as they are printed.

    Attributes
    ----------
    account
        The corner of the view's ledger.
    total
        Hundredths of a second; the rows add up to it.
    rows
        Each row of the ledger with its hundredths: first what the data shows, then what
        it cannot show, last what nothing explains; the largest first.
    """

    account: Mapping[str, Any]
    total: int
    rows: tuple[tuple[Mapping[str, Any], int], ...]


@dataclass(frozen=True)
class PrintedAccount:
    """An account in hundredths of a second: corners and straights add up to the difference."""

    difference: int
    straight: int
    corners: tuple[PrintedCorner, ...]


def round_hundredths(seconds: float) -> int:
    """Round to whole hundredths; a half goes away from zero."""
    size = floor(abs(seconds) * 100 + 0.5)
    return size if seconds >= 0 else -size


def divide_hundredths(amounts: Sequence[float], whole: int) -> list[int]:
    """Divide whole hundredths as amounts in seconds do: the largest remainders are rounded up."""
    if not amounts:
        return []
    parts = [floor(v * 100) for v in amounts]
    order = sorted(range(len(parts)), key=lambda i: parts[i] - amounts[i] * 100)
    each, more = divmod(whole - sum(parts), len(parts))
    for rank, i in enumerate(order):
        parts[i] += each + (rank < more)
    return parts


def print_account(account: Mapping[str, Any]) -> PrintedAccount:
    """Round an account of the ledger so that it adds up at every level."""
    difference = round_hundredths(account["difference_s"])
    corners = account["corners"]
    amounts = [account["straight_s"], *(c["cost_s"] for c in corners)]
    straight, *totals = divide_hundredths(amounts, difference)
    printed = tuple(_print_corner(c, t) for c, t in zip(corners, totals, strict=True))
    return PrintedAccount(difference, straight, printed)


def _print_corner(corner: Mapping[str, Any], total: int) -> PrintedCorner:
    costs = [row["cost_s"] for row in corner["rows"]]
    pairs = zip(corner["rows"], divide_hundredths(costs, total), strict=True)
    return PrintedCorner(corner, total, tuple(sorted(pairs, key=lambda pair: _rank(pair[0]))))


def _rank(row: Mapping[str, Any]) -> tuple[int, float]:
    last = 2 if row["cause"] == "unexplained" else 0 if row["significant"] else 1
    return last, -abs(row["cost_s"])


def tell_printed(row: Mapping[str, Any], printed: int) -> Mapping[str, Any] | None:
    """Return a row's sentence with its cost as it is printed in the row, or None."""
    text = row["text"]
    if not text or not text.get("v"):
        return text or None
    cost = abs(row["cost_s"])
    values = [
        [abs(printed) / 100, "time", 2]
        if v[1] == "time" and v[0] is not None and abs(abs(v[0]) - cost) < 1e-6
        else v
        for v in text["v"]
    ]
    return {**text, "v": values}
