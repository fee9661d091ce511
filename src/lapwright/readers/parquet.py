"""Parquet files, read in a process of its own with limits on memory and time."""

from __future__ import annotations

import numpy as np
import polars as pl

from lapwright.model.recording import Recording
from lapwright.readers.assemble import assemble_recording
from lapwright.readers.header import split_label
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.sandbox import read_in_sandbox
from lapwright.readers.source import Source
from lapwright.readers.table import Column, Table

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
    frame = read_in_sandbox(source, "parquet").frames[0]
    columns = [_build_column(frame[name]) for name in frame.columns]
    rows = np.arange(1, frame.height + 1, dtype=np.int64)
    table = Table(source.file, source.sha256, columns, rows, "row", written=source.written)
    return assemble_recording([table], mapping)


def _build_column(series: pl.Series) -> Column:
    label = split_label(series.name)
    if series.dtype in (pl.Datetime, pl.Date):
        micros = series.cast(pl.Datetime("us")).dt.epoch("us").cast(pl.Float64) / 1e6
        return Column(label, micros.fill_null(float("nan")).to_numpy().copy())
    if series.dtype == pl.Duration:
        micros = series.cast(pl.Duration("us")).dt.total_microseconds().cast(pl.Float64) / 1e6
        return Column(label, micros.fill_null(float("nan")).to_numpy().copy())
    if series.dtype == pl.String:
        values = series.cast(pl.Float64, strict=False)
        return Column(label, values.fill_null(float("nan")).to_numpy().copy(), series)
    values = series.cast(pl.Float64, strict=False).fill_null(float("nan"))
    return Column(label, values.to_numpy().copy())
