"""A zip archive that holds logs: unpacked within limits, in a process of its own."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from operator import itemgetter
from pathlib import Path, PurePosixPath

from lapwright.errors import InputError
from lapwright.messages import Message, set_option
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.sandbox import unpack_in_sandbox
from lapwright.readers.source import Source
from lapwright.readers.table import count

_MARKS = (b"PK\x03\x04", b"PK\x05\x06")
#: Files that systems put into archives by themselves.
_ASIDE = ("__macosx/", ".ds_store", "thumbs.db", "desktop.ini")
#: Endings that only logs have.
_LOGS = (".csv", ".tsv", ".gpx", ".nmea", ".mf4", ".mdf", ".parquet")


def recognise(head: bytes) -> bool:
    """Whether the file begins as a zip archive does."""
    return head[:4] in _MARKS


def unpack(source: Source) -> tuple[Source, ...]:
    """Unpack the files of an archive, in the order of their names.

    Raises
    ------
    InputError
        When the archive is damaged, empty, or beyond a limit.
    """
    unpacked = unpack_in_sandbox(source, "zip")
    contents = zip(unpacked.about["names"], map(bytes, unpacked.parts), strict=True)
    members = sorted(contents, key=itemgetter(0))
    kept = _name_apart([(n, d) for n, d in members if d and not _is_aside(n)])
    # Notes that lie beside the logs are passed over.
    kept = [m for m in kept if m[0].lower().endswith(_LOGS)] or kept
    if not kept:
        raise InputError([_refuse(source.file, "the archive holds no file")])
    return tuple(_build_source(source, name, data) for name, data in kept)


def choose_member(source: Source, mapping: ChannelMapping) -> tuple[Source, tuple[Message, ...]]:
    """Take the one log of an archive, or the one that was asked for.

    Returns
    -------
    Source, messages
        The log, and a question where several could be meant.

    Raises
    ------
    InputError
        When the archive cannot be unpacked, or holds no such file.
    """
    members = unpack(source)
    wanted = mapping.file.get("member")
    if wanted is not None:
        found = [m for m in members if wanted in (m.file, m.file.partition(": ")[2])]
        if not found:
            listed = _list(members)
            raise InputError([_refuse(source.file, f'no file "{wanted}" (there are {listed})')])
        return found[0], ()
    return members[0], (() if len(members) == 1 else (_ask(source.file, members),))


def _name_apart(members: Sequence[tuple[str, bytes]]) -> list[tuple[str, bytes]]:
    """Give each file a name of its own that stands in one line."""
    met: Counter[str] = Counter()
    named = []
    for name, data in members:
        shown = "".join(c if c.isprintable() else "_" for c in name)
        met[shown] += 1
        stem, dot, ending = shown.rpartition(".")
        again = f"{stem} ({met[shown]}).{ending}" if dot else f"{shown} ({met[shown]})"
        named.append((shown if met[shown] == 1 else again, data))
    return named


def _is_aside(name: str) -> bool:
    lower = name.lower()
    return lower.startswith(_ASIDE[0]) or PurePosixPath(lower).name in _ASIDE


def _build_source(source: Source, name: str, data: bytes) -> Source:
    file = f"{source.file}: {name}"
    return replace(
        source, path=Path(name), file=file, data=data, sha256=hashlib.sha256(data).hexdigest()
    )


def _list(members: Sequence[Source], shown: int = 8) -> str:
    names = [m.file.partition(": ")[2] for m in members[:shown]]
    return ", ".join(names) + (" …" if len(members) > shown else "")


def _ask(file: str, members: Sequence[Source]) -> Message:
    name = members[0].file.partition(": ")[2]
    found = f"the archive holds {count(len(members), 'file')} ({_list(members)})"
    return Message(
        "ask", file, found, "Nothing was imported", f"Read {name}?",
        answer=set_option("file.member", name),
    )  # fmt: skip


def _refuse(file: str, found: str) -> Message:
    return Message("refused", file, found, "Nothing was imported", "Pack the logs again")
