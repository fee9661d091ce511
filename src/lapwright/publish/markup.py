"""Pieces of HTML: every text is escaped on its way in."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape


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


def table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> Markup:
    """Make a table whose first column names its rows."""
    body = join(
        element("tr", element("th", first, scope="row"), join(element("td", c) for c in rest))
        for first, *rest in rows
    )
    top = element("tr", join(element("th", cell, scope="col") for cell in head))
    return element("table", element("thead", top), element("tbody", body))
