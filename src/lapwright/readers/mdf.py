"""ASAM MDF 4: groups of channels, each with a clock of its own, read in a process of its own."""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.recording import Recording
from lapwright.readers.assemble import assemble_recording
from lapwright.readers.gather import gather_numbers, say_left_out
from lapwright.readers.header import Label, split_label
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.sandbox import unpack_in_sandbox
from lapwright.readers.source import Source
from lapwright.readers.table import Table

_MARKS = (b"MDF     ", b"UnFinMF ")


def recognise(head: bytes) -> bool:
    """Whether the file begins with the mark of MDF, finalised or not."""
    return head[:8] in _MARKS


def read(source: Source, mapping: ChannelMapping) -> Recording:
    """Read an MDF 4 file into a recording; every group keeps its own clock.

    Raises
    ------
    InputError
        When the optional library is missing, the file is damaged, or nothing in
        it has a time.
    """
    if importlib.util.find_spec("asammdf") is None:
        raise InputError([_say_missing(source.file)])
    unpacked = unpack_in_sandbox(source, "mdf")
    groups = zip(unpacked.about["groups"], unpacked.parts, strict=True)
    # Where two groups hold the same channel the faster one gives it.
    tables = sorted((_build_table(source, g, p) for g, p in groups), key=_rate, reverse=True)
    if not tables:
        found, to_do = "no group of channels has a time", "Record again or pick another file"
        raise InputError(
            [
                Message(
                    "refused", source.file, found, "Nothing was imported", to_do, "byte 64", byte=64
                )
            ]
        )
    recording = assemble_recording(tables, mapping)
    left_out = say_left_out(source.file, unpacked.about["left_out"])
    recording = replace(recording, messages=(*recording.messages, *left_out))
    start = datetime.fromtimestamp(unpacked.about["start"], UTC)
    recording.info["time 0 is at"] = start.isoformat(timespec="milliseconds")  # type: ignore[index]
    return recording


def _say_missing(file: str) -> Message:
    found = "this is ASAM MDF 4, and the library that reads it is not installed"
    to_do = 'Install it with: pip install "lapwright[mdf]"'
    return Message("refused", file, found, "Nothing was imported", to_do)


def _rate(table: Table) -> float:
    time = table.columns[0].values
    return float(time.size / max(np.ptp(time), 1e-9))


def _build_table(source: Source, group: dict[str, list[str]], part: memoryview) -> Table:
    values = np.frombuffer(part, np.float64).reshape(len(group["names"]), -1)
    rows = np.arange(1, values.shape[1] + 1, dtype=np.int64)
    named = zip(group["names"], group["units"], values, strict=True)
    built = [
        gather_numbers(source.file, _label(name, unit), column, rows, "sample")
        for name, unit, column in named
    ]
    said = tuple(m for _, messages in built for m in messages)
    columns, info = [column for column, _ in built], {"dialect": "ASAM MDF 4"}
    return Table(source.file, source.sha256, columns, rows, "sample", info=info, messages=said)


def _label(name: str, unit: str) -> Label:
    return Label(name, unit.strip(), name) if unit.strip() else split_label(name)
