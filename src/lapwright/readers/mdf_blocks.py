"""The skeleton of an ASAM MDF 4 file: are its lists whole, within the file, and without circles.

Blocks and links as in ASAM MDF 4.1: every block begins with four letters, four
bytes, its length and its number of links (64 bits each), and then the links.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

_HEAD = struct.Struct("<4s4xQQ")
_HD_AT: Final = 64
_COPY: Final = "Copy the file again; if it was cut, finalise it with the logger's tool"
#: Blocks of a list: its name, the places of the links to lists and blocks below it.
_LISTS: Final[dict[bytes, tuple[str, dict[int, tuple[bytes, ...]]]]] = {
    b"##DG": ("data group list", {1: (b"##CG",), 2: (b"##DT", b"##DL", b"##DZ", b"##HL", b"##LD")}),
    b"##CG": ("channel group list", {1: (b"##CN",), 2: (b"##TX",)}),
    b"##CN": ("channel list", {1: (b"##CN", b"##CA"), 2: (b"##TX",), 4: (b"##CC",)}),
    b"##DL": ("data list", {}),
}
_BLOCK_LIMIT: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class BlockFault:
    """What is wrong with the file's structure, and at which byte."""

    found: str
    byte: int
    to_do: str = _COPY


class _Stop(Exception):  # noqa: N818 - it never leaves this module
    def __init__(self, found: str, byte: int) -> None:
        super().__init__(found)
        self.fault = BlockFault(found, byte)


def check_blocks(data: bytes) -> BlockFault | None:
    """Follow the lists of groups, channels and data once; None when they are sound."""
    mark = data[:8]
    version = data[8:12].decode("ascii", errors="replace").strip("\0 ")
    if mark == b"UnFinMF ":
        found = "the recording was never finalised (power lost, or cut while copying)"
        return BlockFault(found, 0, "Finalise it with the logger's tool")
    if not version.startswith("4"):
        to_do = "Export as MDF 4, CSV or Parquet"
        return BlockFault(f'version "{version}" of MDF; version 4 is read', 8, to_do)
    try:
        links = _read_links(data, _HD_AT, (b"##HD",))
        if not links or not links[0]:
            return BlockFault("no data groups", _HD_AT, "Record again or pick another file")
        _check_tree(data, links[0])
    except _Stop as stop:
        return stop.fault
    return None


def _check_tree(data: bytes, first_group: int) -> None:
    """Walk all lists without recursion; every block is visited at most once."""
    seen: set[int] = set()
    waiting: list[tuple[int, tuple[bytes, ...]]] = [(first_group, (b"##DG",))]
    while waiting:
        at, kinds = waiting.pop()
        for block, links in _walk(data, at, kinds, seen):
            kind = data[block : block + 4]
            below = _LISTS[kind][1] if kind in _LISTS else {}
            waiting += [(links[i], k) for i, k in below.items() if i < len(links) and links[i]]
            if kind == b"##DL":
                parts = (b"##DT", b"##DZ", b"##SD", b"##RD", b"##DV", b"##RV", b"##DI", b"##RI")
                waiting += [(at, parts) for at in links[1:] if at]
            if kind == b"##HL" and links and links[0]:
                waiting.append((links[0], (b"##DL",)))


def _walk(
    data: bytes, at: int, kinds: tuple[bytes, ...], seen: set[int]
) -> Iterator[tuple[int, list[int]]]:
    """Follow a list by its first link; stop at a circle."""
    passed: set[int] = set()
    while at:
        if at in passed:
            name = _LISTS.get(data[at : at + 4], ("list", {}))[0]
            raise _Stop(f"{name} runs in a circle", at)
        links = _read_links(data, at, kinds)
        if at in seen:  # a block that two lists share is read once
            return
        passed.add(at)
        seen.add(at)
        if len(seen) > _BLOCK_LIMIT:
            raise _Stop(f"more than {_BLOCK_LIMIT} blocks", at)
        yield at, links
        is_list = data[at : at + 4] in _LISTS
        at = links[0] if is_list and links else 0


def _read_links(data: bytes, at: int, kinds: tuple[bytes, ...]) -> list[int]:
    """Links of one block, after its head was held against the file."""
    wanted = " or ".join(k[2:].decode() for k in kinds)
    if at % 8 or at + _HEAD.size > len(data):
        raise _Stop(
            f"a link leads to byte {at}, where no {wanted} block can be", min(at, len(data))
        )
    kind, length, count = _HEAD.unpack_from(data, at)
    if kind not in kinds:
        shown = kind.decode("ascii", errors="replace")
        raise _Stop(f'"{shown!s:.8}" where a block {wanted} must be', at)
    if count > 65_536 * 16 or length < _HEAD.size + 8 * count or at + length > len(data):
        raise _Stop(f"a block {kind[2:].decode()} of {length} bytes, more than the file holds", at)
    return list(struct.unpack_from(f"<{count}Q", data, at + _HEAD.size))
