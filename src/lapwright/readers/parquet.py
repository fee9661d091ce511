"""Parquet files, read in a process of its own with limits on memory and time."""

from __future__ import annotations

import io

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lapwright.messages import Message
from lapwright.model.recording import Recording
from lapwright.readers.assemble import assemble_recording
from lapwright.readers.gather import gather_numbers, gather_text, say_left_out
from lapwright.readers.header import Label, split_label
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.sandbox import unpack_in_sandbox
from lapwright.readers.source import Source
from lapwright.readers.table import Column, Table

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

_MARK = b"PAR1"


def recognise(head: bytes) -> bool:
    """Whether the file begins with Parquet's mark."""
    return head.startswith(_MARK)


def read(source: Source, mapping: ChannelMapping) -> Recording:
    """Read a Parquet file into a recording.

    Raises
    ------
    InputError
        When the file is damaged, or no column holds time.
    """
    frame, left_out = read_frame(source)
    rows = np.arange(1, frame.height + 1, dtype=np.int64)
    built = [_build_column(source.file, frame[name], rows) for name in frame.columns]
    said = [m for _, messages in built for m in messages]
    said += say_left_out(source.file, left_out)
    columns = [column for column, _ in built]
    table = Table(
        source.file, source.sha256, columns, rows, "row",
        messages=tuple(said), written=source.written,
    )  # fmt: skip
    return assemble_recording([table], mapping)


def read_frame(source: Source) -> tuple[pl.DataFrame, list[str]]:
    """Read the plain columns of a Parquet file, and the names of the others.

    Raises
    ------
    InputError
        When the file is damaged.
    """
    unpacked = unpack_in_sandbox(source, "parquet")
    return pl.read_ipc(io.BytesIO(unpacked.parts[0])), unpacked.about["left_out"]


def _build_column(file: str, series: pl.Series, rows: IntArray) -> tuple[Column, list[Message]]:
    label = split_label(series.name)
    seconds = _read_moments(series)
    if seconds is not None:
        return Column(Label(label.name, "s", label.cell), _to_array(seconds)), []
    if series.dtype in (pl.String, pl.Categorical, pl.Enum):
        series = series.cast(pl.String)
        return gather_text(file, label, series, rows, "row")
    return gather_numbers(file, label, _to_array(series), rows, "row")


def _read_moments(series: pl.Series) -> pl.Series | None:
    """Seconds of a type that is time by itself; None for any other."""
    if series.dtype in (pl.Datetime, pl.Date):
        return series.cast(pl.Datetime("us")).dt.epoch("us").cast(pl.Float64) / 1e6
    if series.dtype == pl.Duration:
        return series.cast(pl.Duration("us")).dt.total_microseconds().cast(pl.Float64) / 1e6
    if series.dtype == pl.Time:
        return series.cast(pl.Int64).cast(pl.Float64) / 1e9
    return None


def _to_array(series: pl.Series) -> Array:
    values = series.cast(pl.Float64, strict=False).fill_null(float("nan"))
    return values.to_numpy().copy()
