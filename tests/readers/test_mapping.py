"""The channel mapping: written, edited, read again; answers on the command line."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapwright.errors import InputError, UsageError
from lapwright.model.recording import Channel, Recording
from lapwright.readers import parse_answers, read_log, read_mapping, write_mapping
from lapwright.readers.mapping import render_mapping
from lapwright.workflow.inspect import inspect_log


def test_written_mapping_reads_the_same_recording(columns, put, tmp_path):
    path = put(columns)
    first = inspect_log(path).recording
    write_mapping(first, tmp_path / "channels.toml")
    again = inspect_log(path, mapping=read_mapping(tmp_path / "channels.toml"))
    assert again.outcome == "accepted"
    assert set(again.recording.channels) == set(first.channels)
    for name, channel in first.channels.items():
        np.testing.assert_array_equal(again.recording.channels[name].values, channel.values)
        np.testing.assert_array_equal(again.recording.channels[name].time, channel.time)


def test_mapping_overrules_names_and_units(columns, put, tmp_path):
    columns["GS"] = columns.pop("speed (m/s)") * 3.6
    columns["steering (deg)"] = -columns["steering (deg)"]
    mapping = tmp_path / "channels.toml"
    mapping.write_text(
        '[channels.speed]\ncolumn = "GS"\nunit = "km/h"\nscale = 2.0\n'
        "[channels.steering]\ninvert = true\ndelay_s = 0.15\n",
        encoding="utf-8",
    )
    recording = read_log(put(columns), mapping=read_mapping(mapping))
    speed = recording.channels["speed"]
    assert (speed.how_known, speed.original, speed.original_unit) == ("mapping", "GS", "km/h")
    np.testing.assert_allclose(speed.values, columns["GS"] / 3.6 * 2.0, atol=1e-4)
    steering = recording.channels["steering"]
    np.testing.assert_allclose(steering.values, -np.radians(columns["steering (deg)"]), atol=1e-5)
    np.testing.assert_allclose(steering.time, columns["time (s)"] - 0.15, atol=1e-9)
    assert steering.delay_s == 0.15


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("[channels.speed", "is no TOML"),
        ("[channels.sped]\ncolumn = 'x'", "names no known channel"),
        ("[channels.speed]\nunits = 'm'", "'units' is none of"),
        ("[channels.speed]\nscale = 'two'", "two"),
        ("[channels.speed]\ninvert = 'perhaps'", "neither true nor false"),
        ("[channels.speed]\nscale = nan", "scale = nan is no number that can be used"),
        ("[channels.speed]\nscale = 0", "scale = 0 is no number that can be used"),
        ("[channels.speed]\ndelay_s = inf", "delay_s = inf is no number that can be used"),
        ("[channels.time]\nrate_hz = -20", "rate_hz = -20 is no number that can be used"),
        ("[channel.speed]\nunit = 'm/s'", "'channel' is no table of a mapping"),
        ("channels = 3", "no tables"),
    ],
)
def test_faulty_mapping_is_refused(tmp_path, text, part):
    mapping = tmp_path / "channels.toml"
    mapping.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        read_mapping(mapping)
    assert part in str(raised.value)
    assert "channels.toml" in str(raised.value)


def test_missing_mapping_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"channels\.toml"):
        read_mapping(tmp_path / "channels.toml")


def test_answers():
    assert parse_answers(["speed.unit=km/h", "time.rate = 20"]) == {
        "speed.unit": "km/h",
        "time.rate": "20",
    }
    for wrong in ("speed", "speed=km/h", "sped.unit=m/s", ".unit=m"):
        with pytest.raises(UsageError) as raised:
            parse_answers([wrong])
        assert raised.value.exit_code == 2


def test_answer_with_an_unknown_field(columns, put):
    with pytest.raises(UsageError, match="colour"):
        read_log(put(columns), unit_answers={"speed.colour": "red"})


@pytest.mark.parametrize("answer", ["time.rate=0", "time.rate=nan", "speed.scale=-inf"])
def test_answer_with_a_number_that_no_channel_can_have(columns, put, answer):
    with pytest.raises(UsageError, match="is no number that can be used"):
        read_log(put(columns), unit_answers=parse_answers([answer]))


def test_mapping_is_written_whole_or_not_at_all(columns, put, tmp_path, monkeypatch):
    recording = read_log(put(columns))
    target = tmp_path / "channels.toml"
    target.write_text("old", encoding="utf-8")

    def fail(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", fail)
    with pytest.raises(OSError, match="No space"):
        write_mapping(recording, target)
    assert target.read_text(encoding="utf-8") == "old"
    assert [p.name for p in tmp_path.iterdir() if p.name.endswith(".part")] == []


@given(st.text(min_size=1, max_size=30), st.text(max_size=10))
def test_any_name_can_be_written_as_toml(name, unit):
    name = name.encode("utf-8", "replace").decode()
    unit = unit.encode("utf-8", "replace").decode()
    t = np.array([0.0, 1.0])
    channel = Channel("speed", "m/s", t, t, name, unit or None)
    other = Channel("odd", "1", t, t, name)
    recording = Recording("s.csv", "00", {"speed": channel}, {"odd": other})
    document = tomllib.loads(render_mapping(recording))
    assert document["channels"]["speed"]["column"] == name
    assert document["channels"]["speed"]["unit"] == (unit or "m/s")
