"""A small XML document as a tree, by the hardened event parser."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Final

from lapwright.errors import InputError
from lapwright.readers.sheets import read_number
from lapwright.readers.xml_events import Sinks, parse_events, read_utf8, refuse_markup

#: Elements that are kept of one document.
ELEMENT_LIMIT: Final = 2_000_000
#: A road's metres, metres a metre and radians are all smaller; what is made of them must not
#: overflow.
LARGEST: Final = 1e9


@dataclass(slots=True)
class Node:
    """One element: name without prefix, attributes, line, and the elements inside."""

    name: str
    attributes: Mapping[str, str]
    line: int
    inner: list[Node] = field(default_factory=list)

    def all(self, *names: str) -> Iterator[Node]:
        """Give the elements reached by these names, one level each."""
        found: list[Node] = [self]
        for name in names:
            found = [n for f in found for n in f.inner if n.name == name]
        yield from found

    def first(self, *names: str) -> Node | None:
        """Give the first element reached by these names."""
        return next(self.all(*names), None)

    def number(self, name: str, default: float | None = None) -> float:
        """Give an attribute as a number.

        Raises
        ------
        ValueError
            When it is no number, beyond `LARGEST`, or missing without a default.
        """
        text = self.attributes.get(name)
        if text is None and default is not None:
            return default
        value = read_number(text or "")
        if value is None or abs(value) > LARGEST:
            shown = "missing" if text is None else f'"{text[:30]}"'
            raise ValueError(f"line {self.line}: {name} of {self.name} is {shown}")
        return value


def read_tree(data: bytes, file: str) -> Node:
    """Read a whole document.

    Raises
    ------
    InputError
        When it is broken, has a DOCTYPE, or is beyond a limit.
    """
    root = Node("", {}, 1)
    open_nodes, count = [root], 0

    def start(name: str, attributes: Mapping[str, str], line: Callable[[], int]) -> None:
        nonlocal count
        count += 1
        if count > ELEMENT_LIMIT:
            raise InputError([refuse_markup(file, f"more than {ELEMENT_LIMIT} elements", line())])
        node = Node(name, attributes, line())
        open_nodes[-1].inner.append(node)
        open_nodes.append(node)

    def end(_name: str, _text: str, _has_inner: bool) -> None:
        open_nodes.pop()

    broken = parse_events(read_utf8(data), file, Sinks(start, end))
    if broken is not None:
        found = f"the markup is broken here ({broken.why})"
        raise InputError([refuse_markup(file, found, broken.line, "Export the circuit again")])
    return root.inner[0]
