"""Stamps in unusual shapes: read rightly, or said; the logs are invented.

A Unix time stamp counts from 1970-01-01T00:00Z (POSIX); offsets from UTC as in ISO 8601.
"""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.errors import InputError
from lapwright.readers import read_log

BEGIN = 1_778_320_800.0  # 2026-05-09T10:00:00Z
N = 50


def log(put, header, stamp):
    return put([f"{header},speed (m/s)", *(f"{stamp(i)},{20 + i / 10:.1f}" for i in range(N))])


@pytest.mark.parametrize(
    ("header", "tick", "name"),
    [("time [s]", 1e-3, "ms"), ("time (s)", 1e-6, "us"), ("t_ms", 1e-9, "ns")],
)
def test_stamps_beyond_the_unit_of_the_header(put, header, tick, name):
    recording = read_log(log(put, header, lambda i: round((BEGIN + i / 10) / tick)))
    texts = [m.text for m in recording.messages]
    assert len(texts) == 1
    assert "s.csv, line 1, channel t" in texts[0]
    assert f'under "{header}" lie beyond the year 2100. Read as {name} since 1970' in texts[0]
    np.testing.assert_allclose(recording.channels["speed"].time, np.arange(N) / 10, atol=5e-7)
    np.testing.assert_allclose(
        recording.channels["utc"].values, BEGIN + np.arange(N) / 10, atol=5e-7
    )


@pytest.mark.parametrize("stamp", [lambda i: f"{i + 1}e300", lambda _i: "soon", lambda _i: ""])
def test_clock_that_cannot_be_read_is_named(put, stamp):
    with pytest.raises(InputError) as raised:
        read_log(log(put, "time", stamp))
    *cells, message = raised.value.messages
    assert all("not finite. Set to missing" in m.text for m in cells)
    assert (
        "line 1, channel time: the column of time holds no stamp that can be read" in message.text
    )
    assert message.answer == "--set time.rate=100"


def test_wild_first_stamp_moves_nothing(put):
    path = log(put, "utc", lambda i: 9e15 if i == 0 else BEGIN + i / 10)
    recording = read_log(path)
    assert recording.info["time 0 is at"] == "2026-05-09T10:00:00.100+00:00"
    assert np.abs(recording.channels["speed"].time).max() < N / 10


@pytest.mark.parametrize("off", [8.0, 900.0, -900.0])
def test_a_stamp_far_from_those_around_it_is_filled(put, off):
    """50 usual steps of 0.1 s and 2 s are 7 s: within, a late row would be sorted."""
    recording = read_log(log(put, "time (s)", lambda i: i / 10 + (off if i == 20 else 0.0)))
    np.testing.assert_allclose(recording.channels["speed"].time, np.arange(N) / 10, atol=1e-9)
    assert len(recording.messages) == 1


@pytest.mark.parametrize("offset", ["Z", "+02:00", "-0530", "+02", " UTC"])
def test_offsets_from_utc(put, offset):
    hours = {"+02:00": 2.0, "-0530": -5.5, "+02": 2.0}.get(offset, 0.0)
    recording = read_log(log(put, "utc", lambda i: f"2026-05-09T10:00:{i:02d}.25{offset}"))
    assert recording.messages == ()
    utc = recording.channels["utc"].values
    np.testing.assert_allclose(utc, BEGIN + 0.25 - 3600.0 * hours + np.arange(N), atol=1e-6)


def test_offset_may_change_within_a_log(put):
    """No row is taken for the header because its stamp is written in another way."""
    stamps = [
        f"2026-05-09T{12 - 2 * (i % 2)}:00:{i:02d}{'Z' if i % 2 else '+02:00'}" for i in range(N)
    ]
    recording = read_log(log(put, "utc", lambda i: stamps[i]))
    assert [m.text for m in recording.messages] == []
    np.testing.assert_allclose(recording.channels["utc"].values, BEGIN + np.arange(N), atol=1e-6)


@pytest.mark.parametrize("shape", ["shuffled", "sawtooth", "pairs"])
def test_clock_that_falls_everywhere_is_settled_at_once(put, shape):
    """A third of a million falls: work that grows with their square would take hours."""
    n = 600_000
    time = {
        "shuffled": np.random.default_rng(1).permutation(n) / 100.0,
        "sawtooth": np.where(np.arange(n) % 2, 2.0, 0.0),
        "pairs": np.arange(n) / 100.0 - 0.015 * (np.arange(n) % 2),
    }[shape]
    rows = "\n".join(f"{t:.3f},{i % 977}" for i, t in enumerate(time.tolist()))
    recording = read_log(put(f"time,speed\n{rows}\n"))
    assert np.all(np.diff(recording.channels["speed"].time) > 0)
    assert recording.messages
    assert all(m.channel == "time" for m in recording.messages)
