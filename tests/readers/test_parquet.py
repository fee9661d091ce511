"""Parquet: a round trip, and damaged files that must not harm the program."""

from __future__ import annotations

import io

import numpy as np
import polars as pl
import pytest

from lapwright.readers import read_log
from lapwright.readers.sandbox import _say_end
from lapwright.workflow.inspect import inspect_log


def test_round_trip(columns, tmp_path):
    path = tmp_path / "s.parquet"
    pl.DataFrame(columns).write_parquet(path)
    inspection = inspect_log(path)
    assert [m.text for m in inspection.messages] == []
    channels = inspection.recording.channels
    for name, header, factor in (
        ("speed", "speed (m/s)", 1.0),
        ("latitude", "lat (deg)", 1.0),
        ("throttle", "throttle (%)", 0.01),
        ("brake_pressure", "brake (bar)", 1e5),
        ("yaw_rate", "yaw_rate (rad/s)", 1.0),
    ):
        np.testing.assert_allclose(channels[name].values, columns[header] * factor, rtol=1e-12)


def test_same_as_csv(columns, put, tmp_path):
    path = tmp_path / "s.parquet"
    pl.DataFrame(columns).write_parquet(path)
    binary, text = read_log(path), read_log(put(columns))
    assert set(binary.channels) == set(text.channels)
    for name, channel in binary.channels.items():
        assert channel.unit == text.channels[name].unit
        np.testing.assert_allclose(channel.values, text.channels[name].values, atol=11.0, rtol=1e-3)


def test_stamps_and_integers(columns, tmp_path):
    t = columns.pop("time (s)")
    columns.pop("utc (s)")
    start = np.datetime64("2026-05-09T10:00:00")
    frame = pl.DataFrame(columns).with_columns(
        pl.Series("time", start + (1e6 * t).astype("timedelta64[us]")),
        pl.col("gear").cast(pl.Int8),
        pl.col("speed (m/s)").cast(pl.Float32),
    )
    path = tmp_path / "s.parquet"
    frame.write_parquet(path)
    inspection = inspect_log(path)
    assert [m.text for m in inspection.messages] == []
    np.testing.assert_allclose(inspection.recording.channels["speed"].time, t, atol=2e-6)
    assert inspection.recording.info["time 0 is at"].startswith("2026-05-09T10:00:00.000")


def test_damaged_files_are_refused_by_name(columns, tmp_path):
    out = io.BytesIO()
    pl.DataFrame({k: v[:400] for k, v in columns.items()}).write_parquet(out)
    whole = out.getvalue()
    path = tmp_path / "s.parquet"
    rng = np.random.default_rng(5)
    spoilt = bytearray(whole)
    for at in rng.integers(len(whole) - 400, len(whole) - 8, 60):
        spoilt[at] = rng.integers(0, 256)
    for data in (whole[: len(whole) // 2], b"PAR1", b"PAR1" + bytes(900) + b"PAR1", bytes(spoilt)):
        path.write_bytes(data)
        inspection = inspect_log(path)
        assert inspection.outcome == "refused"
        assert "s.parquet, byte 0: reading stopped at" in inspection.messages[0].text
        assert f"{len(data):,}".replace(",", " ") in inspection.messages[0].text


def test_memory_limit_is_kept(tmp_path):
    """A file of a few kilobytes that unpacks to 3.2 GB, more than the limit of 1.5 GiB."""
    path = tmp_path / "s.parquet"
    rows = 5_000_000
    frame = pl.DataFrame({"time": np.zeros(rows)})
    frame = frame.select([pl.col("time").alias(f"c{i}") for i in range(80)])
    frame.write_parquet(path)
    assert path.stat().st_size < 2_000_000
    del frame
    inspection = inspect_log(path)
    assert inspection.outcome == "refused"
    assert "the memory limit (1.5 GiB)" in inspection.messages[0].text


@pytest.mark.parametrize("name", ["s.csv", "s.parquet", "log"])
def test_content_decides_not_the_name(columns, tmp_path, name):
    path = tmp_path / name
    pl.DataFrame(columns).write_parquet(path)
    assert read_log(path).channels["speed"].values.size == columns["time (s)"].size


@pytest.mark.parametrize(
    ("code", "errors", "found"),
    [
        (4, b"", "the memory limit (1.5 GiB)"),
        (-6, b"memory allocation of 274877906944 bytes failed\n", "the memory limit (1.5 GiB)"),
        (1, b'File "allocation/memory.py"\nMemoryError: \n', "the memory limit (1.5 GiB)"),
        (1, b'File "allocation/memory.py"\nValueError: no memory of it\n', "a damaged part"),
        (-11, b"", "a damaged part"),
    ],
)
def test_why_the_reading_process_ended(code, errors, found):
    """A folder's name or a library's remark is no reason; only the last words are."""
    assert _say_end(code, errors) == found


def test_time_limit_does_not_call_a_file_damaged(columns, tmp_path, monkeypatch):
    path = tmp_path / "s.parquet"
    pl.DataFrame(columns).write_parquet(path)
    monkeypatch.setattr("lapwright.readers.sandbox.TIME_LIMIT_S", 0.0)
    inspection = inspect_log(path)
    assert inspection.outcome == "refused"
    assert "reading stopped at the time limit" in inspection.messages[0].text
    assert "damaged" not in inspection.messages[0].text
