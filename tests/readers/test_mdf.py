"""ASAM MDF 4: back to the sample, and damaged files that must not harm the program.

The files are invented and written by asammdf, a general-purpose library; B01 … are numbers of
the project's list of faults. Blocks and links as in ASAM MDF 4.1.
"""

from __future__ import annotations

import importlib.util
import struct

import numpy as np
import pytest

from lapwright.readers import read_log
from lapwright.readers.mdf_blocks import check_blocks
from lapwright.readers.sandbox import unpack_in_sandbox
from lapwright.readers.source import read_source
from lapwright.workflow.inspect import inspect_log

asammdf = pytest.importorskip("asammdf", reason="the optional extra mdf is not installed")

#: Channel in the file, unit, how it is called inside, and its factor to SI.
GROUPS = {
    1.0: [("fuel", "kg", "fuel_mass", 1.0)],
    5.0: [("alt", "m", "altitude", 1.0)],
    10.0: [("lat", "deg", "latitude", 1.0), ("lon", "deg", "longitude", 1.0)],
    50.0: [("speed", "km/h", "speed", 1.0 / 3.6), ("gear", "", "gear", 1.0)],
    200.0: [("acc_y", "g", "acceleration_left", 9.80665), ("throttle", "%", "throttle", 0.01)],
}


@pytest.fixture(scope="module")
def written(tmp_path_factory):
    """A file with five clocks that begin at different times, and the truth by channel."""
    path = tmp_path_factory.mktemp("mdf") / "s.mf4"
    truth = {}
    with asammdf.MDF(version="4.10") as mdf:
        for k, (rate, channels) in enumerate(GROUPS.items()):
            t = 0.003 * k + np.arange(0.0, 60.0, 1.0 / rate)
            signals = []
            for i, (name, unit, channel, factor) in enumerate(channels):
                values = 40.0 + 10.0 * np.sin(0.3 * t + i) + 1e-3 * t
                if name == "gear":
                    values = np.floor(values / 10.0)
                if name in ("lat", "lon"):
                    values = 46.5 + 1e-5 * t + 1e-4 * i * np.sin(t)
                signals.append(asammdf.Signal(values, t, unit=unit, name=name))
                truth[channel] = (t, values * factor)
            mdf.append(signals)
        mdf.save(path, overwrite=True)
    return path, truth


def test_groups_lie_where_numbers_may(written):
    """Else every compiled loop would be compiled a second time for them."""
    parts = unpack_in_sandbox(read_source(written[0]), "mdf").parts
    assert len(parts) == len(GROUPS)
    assert all(np.frombuffer(part, np.float64).flags.aligned for part in parts)


def test_values_marked_invalid_and_packed_ones_come_back(tmp_path):
    t = np.arange(0.0, 60.0, 0.02)
    invalid = np.zeros(t.size, bool)
    invalid[100:120] = True
    speed = asammdf.Signal(30.0 + np.sin(t), t, unit="m/s", name="speed", invalidation_bits=invalid)
    raw = (400 + 100 * np.sin(t)).astype(">u2")
    throttle = asammdf.Signal(raw, t, unit="%", name="throttle", conversion={"a": 0.1, "b": -2.0})
    with asammdf.MDF(version="4.10") as mdf:
        mdf.append([speed, throttle])
        mdf.save(tmp_path / "s.mf4", overwrite=True)
    channels = read_log(tmp_path / "s.mf4").channels
    known = np.isfinite(channels["speed"].values)
    np.testing.assert_array_equal(known, ~invalid)
    np.testing.assert_array_equal(channels["speed"].values[known], (30.0 + np.sin(t))[known])
    np.testing.assert_allclose(channels["throttle"].values, (0.1 * raw - 2.0) / 100, atol=1e-12)


def test_five_rates_back_to_the_sample(written):
    path, truth = written
    recording = read_log(path)
    assert [m.text for m in recording.messages] == []
    assert set(recording.channels) == set(truth)
    for channel, (time, values) in truth.items():
        got = recording.channels[channel]
        np.testing.assert_array_equal(got.time, time)
        np.testing.assert_allclose(got.values, values, rtol=1e-15)
    assert recording.channels["speed"].original_unit == "km/h"


def test_integers_with_a_conversion(tmp_path):
    """Raw 16-bit counts of 0.5 %, offset −3 %."""
    path = tmp_path / "s.mf4"
    t = np.arange(0.0, 30.0, 0.02)
    raw = (np.arange(t.size) * 7 % 200).astype(np.int16)
    with asammdf.MDF(version="4.10") as mdf:
        conversion = {"a": 0.5, "b": -3.0}
        mdf.append([asammdf.Signal(raw, t, unit="%", name="throttle", conversion=conversion)])
        mdf.save(path, overwrite=True)
    got = read_log(path).channels["throttle"]
    np.testing.assert_allclose(got.values, 0.01 * (0.5 * raw - 3.0), atol=1e-12)


def test_without_the_library_it_is_said_how_to_get_it(written, monkeypatch):
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda n, *a: None if n == "asammdf" else find(n, *a)
    )
    inspection = inspect_log(written[0])
    assert inspection.outcome == "refused"
    text = inspection.messages[0].text
    assert "ASAM MDF 4" in text
    assert 'pip install "lapwright[mdf]"' in text


def links_of(data, at):
    count = struct.unpack_from("<Q", data, at + 16)[0]
    return [struct.unpack_from("<Q", data, at + 24 + 8 * i)[0] for i in range(count)]


def set_link(data, at, index, value):
    data[at + 24 + 8 * index : at + 32 + 8 * index] = struct.pack("<Q", value)


def damage(data, how):
    """A copy with one fault, the byte at which it must be found, and what must be said."""
    data = bytearray(data)
    first = links_of(data, 64)[0]
    second = links_of(data, first)[0]
    group = links_of(data, first)[1]
    channel = links_of(data, group)[1]
    if how == "circle of data groups":
        set_link(data, second, 0, first)
        return data, first, "data group list runs in a circle"
    if how == "circle of channels":
        set_link(data, channel, 0, channel)
        return data, channel, "channel list runs in a circle"
    if how == "circle of channel groups":
        set_link(data, group, 0, group)
        return data, group, "channel group list runs in a circle"
    if how == "link behind the end":
        set_link(data, first, 0, len(data) + 800)
        return data, len(data), f"a link leads to byte {len(data) + 800}"
    if how == "link to another block":
        set_link(data, first, 1, channel)
        return data, channel, '"##CN" where a block CG must be'
    if how == "endless block":
        data[group + 8 : group + 16] = struct.pack("<Q", 2**62)
        return data, group, "more than the file holds"
    if how == "cut":
        return data[: first + 20], first, "a link leads to byte"
    if how == "never finalised":
        data[:8] = b"UnFinMF "
        return data, 0, "never finalised"
    data[8:16] = b"3.30    "
    return data, 8, 'version "3.30" of MDF; version 4 is read'


FAULTS = [
    "circle of data groups", "circle of channels", "circle of channel groups",
    "link behind the end", "link to another block", "endless block", "cut", "never finalised",
    "version 3",
]  # fmt: skip


@pytest.mark.parametrize("how", FAULTS)
def test_b01_to_b04_faults_are_found_by_name(written, how):
    data, byte, found = damage(written[0].read_bytes(), how)
    fault = check_blocks(bytes(data))
    assert fault is not None
    assert found in fault.found
    assert fault.byte == byte


def test_sound_files_have_no_fault(written):
    assert check_blocks(written[0].read_bytes()) is None


@pytest.mark.parametrize("how", ["circle of data groups", "cut"])
def test_b01_message(written, tmp_path, how):
    data, byte, found = damage(written[0].read_bytes(), how)
    path = tmp_path / "s.mf4"
    path.write_bytes(data)
    inspection = inspect_log(path)
    assert inspection.outcome == "refused"
    (message,) = inspection.messages
    assert message.text.startswith(f"s.mf4, byte {byte}: ")
    assert found in message.text
    assert "Nothing was imported. Copy the file again" in message.text
    assert message.byte == byte


def test_changed_bytes_are_found_or_passed_to_the_library(written):
    """The walk over the blocks itself ends, and never with another error."""
    whole = written[0].read_bytes()
    rng = np.random.default_rng(9)
    found = 0
    for _ in range(3000):
        data = bytearray(whole)
        for at in rng.integers(0, min(len(data), 6000), 4):
            data[at] = rng.integers(0, 256)
        if rng.random() < 0.2:
            data = data[: rng.integers(16, len(data))]
        found += check_blocks(bytes(data)) is not None
    assert found > 300


def test_channels_that_are_no_numbers_are_named(tmp_path):
    path = tmp_path / "s.mf4"
    t = np.arange(0.0, 30.0, 0.02)
    texts = np.array([b"green"] * t.size)
    speed = 40.0 + np.sin(t)
    speed[[10, 11]] = np.inf
    with asammdf.MDF(version="4.10") as mdf:
        mdf.append(
            [
                asammdf.Signal(speed, t, unit="m/s", name="speed"),
                asammdf.Signal(texts, t, name="flag", encoding="utf-8"),
            ]
        )
        mdf.save(path, overwrite=True)
    recording = read_log(path)
    assert [m.text for m in recording.messages] == [
        "s.mf4, samples 11–12, channel speed: 2 cells are not finite. Set to missing.",
        "s.mf4: 1 column holds no numbers over time (flag). Left out.",
    ]
    assert np.isnan(recording.channels["speed"].values).sum() == 2
