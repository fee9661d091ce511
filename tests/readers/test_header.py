"""Names and units out of headers, in all the usual places."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapwright.readers import read_log
from lapwright.readers.header import find_label_channel, split_label
from lapwright.readers.layout import find_layout, is_number
from lapwright.readers.synonyms import find_channel


@pytest.mark.parametrize(
    ("cell", "channel", "unit"),
    [
        ("speed (km/h)", "speed", "km/h"),
        ("Speed [km/h]", "speed", "km/h"),
        ("speed{m/s}", "speed", "m/s"),
        ("speed_kmh", "speed", "km/h"),
        ("speed_ms", "speed", "m/s"),
        ("GPS Speed (mph)", "speed", "mph"),
        ("v / km/h", "speed", "km/h"),
        ("throttle_ped_cmd(%)", "throttle", "%"),
        ("brake_ped_cmd(kPa)", "brake", "kPa"),
        ("Brake Pressure [bar]", "brake_pressure", "bar"),
        ("phi(rad)", "heading", "rad"),
        ("delta(rad)", "road_wheel_angle", "rad"),
        ("omega(rad/s)", "yaw_rate", "rad/s"),
        ("vx(m/s)", "velocity_forward", "m/s"),
        ("vy(m/s)", "velocity_left", "m/s"),
        ("wheel_fl(kmph)", "wheel_speed_front_left", "kmph"),
        ("Wheel Speed RR [km/h]", "wheel_speed_rear_right", "km/h"),
        ("wheel_speed_front_left", "wheel_speed_front_left", None),
        ("rpm", "engine_speed", None),
        ("Engine Speed (1/min)", "engine_speed", "1/min"),
        ("yaw_rate_degs", "yaw_rate", "degs"),
        ("Lateral Acc [g]", "acceleration_left", "g"),
        ("acc_x_g", "acceleration_forward", "g"),
        ("ay (m/s²)", "acceleration_left", "m/s²"),
        ("lat", "latitude", None),
        ("lat [°]", "latitude", "°"),
        ("Longitude (deg)", "longitude", "deg"),
        ("time_ms", "time", "ms"),
        ("Time (s)", "time", "s"),
        ("timestamp_us", "time", "us"),
        ("Steering Angle, deg", "steering", "deg"),
        ("gear", "gear", None),
        ("lap", "lap", None),
        ("x_m", "x", "m"),
        ("pos x [m]", "x", "m"),
        ("coolant temp (°C)", None, "°C"),
        ("deltadelta(rad/s)", None, "rad/s"),
        ("Speed (GPS)", None, None),
    ],
)
def test_label(cell, channel, unit):
    label = split_label(cell)
    assert find_label_channel(label) == channel
    assert label.unit in (unit, {"degs": "deg/s"}.get(unit or ""))


@given(st.text(max_size=40))
def test_any_cell_is_a_label(cell):
    label = split_label(cell)
    assert isinstance(label.name, str)


@given(st.text(max_size=40))
def test_any_name_is_a_channel_or_none(name):
    channel = find_channel(name)
    assert channel is None or isinstance(channel, str)


@given(st.lists(st.text(max_size=60), max_size=30))
def test_any_lines_have_a_layout_or_none(lines):
    layout = find_layout(lines)
    assert layout is None or layout.cells >= 1


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_printed_number_is_a_number(value):
    assert is_number(repr(value))
    assert is_number(f"{value:.4f}".replace(".", ","))


@pytest.mark.parametrize("cell", ["", "-", "1_0", "0x10", "1,2,3", "1.2.3", "nan", "e5", "１"])
def test_what_is_no_number(cell):
    assert not is_number(cell) or cell == "１"


PREAMBLE = [
    "Format;1.0",
    "Driver;A. Example",
    '"Session";"Practice; morning"',
    "Sample Rate;20",
    "",
    "# beginning of data",
]


def test_preamble_units_row_and_blank_lines(columns, put, render):
    """A preamble of name-value lines, a row of units, blank lines, a decimal comma."""
    names = [name.split(" (")[0] for name in columns]
    units = [name.split(" (")[1].rstrip(")") if " (" in name else "" for name in columns]
    data = render(columns, ";", ",")[1:]
    lines = [*PREAMBLE, ";".join(names), ";".join(units), "", *data[:50], "", *data[50:], ""]
    recording = read_log(put(lines))
    assert [m.text for m in recording.messages] == []
    assert recording.info["Driver"] == "A. Example"
    assert recording.info["Session"] == "Practice; morning"
    assert recording.info["Sample Rate"] == "20"
    assert recording.channels["steering"].original_unit == "deg"
    assert recording.channels["speed"].values.size == columns["time (s)"].size
    np.testing.assert_allclose(
        recording.channels["throttle"].values, columns["throttle (%)"] / 100.0, atol=1e-6
    )


def test_units_row_in_brackets_and_quotes(columns, put, render):
    names = [f'"{name.split(" (")[0]}"' for name in columns]
    units = [f'"[{name.split(" (")[1][:-1]}]"' if " (" in name else '""' for name in columns]
    data = ['"' + line.replace(",", '","') + '"' for line in render(columns)[1:]]
    recording = read_log(put([",".join(names), ",".join(units), *data]))
    assert [m.text for m in recording.messages] == []
    assert recording.channels["engine_speed"].original_unit == "1/min"
    np.testing.assert_allclose(
        recording.channels["engine_speed"].values * 60 / (2 * np.pi),
        columns["rpm (1/min)"],
        atol=1e-3,
    )


def test_special_units_of_channels(columns, put):
    """Per cent to share, bar to Pa under the name brake_pressure, 1/min to rad/s."""
    columns["heading (rad)"] = np.linspace(-3.0, 3.0, columns["time (s)"].size)
    recording = read_log(put(columns))
    channels = recording.channels
    assert np.nanmax(channels["throttle"].values) <= 1.0
    assert "brake" not in channels
    np.testing.assert_allclose(
        channels["brake_pressure"].values, columns["brake (bar)"] * 1e5, atol=6.0
    )
    assert channels["latitude"].unit == "deg"
    assert channels["gear"].values.max() <= 8


def test_unknown_columns_are_kept(columns, put):
    columns["coolant temp (°C)"] = 80.0 + columns["lap"]
    columns["knock count"] = columns["lap"]
    recording = read_log(put(columns))
    assert set(recording.others) == {"coolant temp", "knock count"}
    assert recording.others["coolant temp"].unit == "°C"


def test_unit_of_the_wrong_kind_is_not_used(columns, put):
    columns["speed (bar)"] = columns.pop("speed (m/s)")
    recording = read_log(put(columns))
    assert "speed" not in recording.channels
    assert "speed" in recording.others
    flagged = [m for m in recording.messages if m.outcome == "flagged"]
    assert '"bar" is no unit of speed' in flagged[0].text
    assert flagged[0].answer.startswith("--set speed.unit=")


def test_gear_letters_are_numbers(columns, put, render):
    lines = render(columns)
    for line, word in ((100, "N"), (101, "R")):
        lines[line] = lines[line].rpartition(",")[0] + "," + word
    recording = read_log(put(lines))
    assert [m.text for m in recording.messages] == []
    assert recording.channels["gear"].values[99:101].tolist() == [0.0, -1.0]


def test_no_header(columns, put, render):
    from lapwright.errors import InputError

    with pytest.raises(InputError) as raised:
        read_log(put(render(columns)[1:]))
    assert "no column holds time" in str(raised.value)


def quoted(columns, name, number, stamp):
    """Lines with every cell in quotes, numbers and times written by functions."""
    rows = zip(columns["time (s)"], columns[name], strict=True)
    return [f'"time (s)","{name}"', *(f'"{stamp(t)}","{number(v)}"' for t, v in rows)]


def test_decimal_commas_in_quotes_between_commas(columns, put):
    with_comma = "{:.4f}".format
    lines = quoted(columns, "speed (m/s)", with_comma, with_comma)
    lines = [line if i == 0 else line.replace(".", ",") for i, line in enumerate(lines)]
    recording = read_log(put(lines))
    assert recording.messages == ()
    np.testing.assert_allclose(
        recording.channels["speed"].values, columns["speed (m/s)"], atol=5.1e-5
    )


def test_thousands_in_quotes_are_not_taken_for_decimals(columns, put):
    """The comma of "5,785" may part thousands: said and left, never read as 5.785."""
    lines = quoted(columns, "rpm (1/min)", "{:,.0f}".format, "{:.4f}".format)
    recording = read_log(put(lines))
    assert "engine_speed" not in recording.channels
    (message,) = recording.messages
    assert message.outcome == "flagged"
    assert "s.csv, line 1, channel rpm: no cell holds a number (" in message.text


def test_remark_between_names_and_rows(columns, put, render):
    lines = render(columns)
    lines[1:1] = ["# session opened", "", "warm"]
    recording = read_log(put(lines))
    assert recording.messages == ()
    assert recording.channels["speed"].original == "speed"


def test_rows_are_no_headers_because_they_begin_alike(put):
    """One column with the units row "-": no row below zero is a second header."""
    lines = ["yaw_rate", "-", *(f"{'-' if i % 2 else ''}{i / 100:.2f}" for i in range(200))]
    recording = read_log(put(lines), unit_answers={"time.rate": "20"})
    assert recording.channels["yaw_rate"].values.size == 200
    assert "header" not in " ".join(m.text for m in recording.messages)


@pytest.mark.parametrize("unit", ["ticks", "furlong"])
def test_unknown_unit_of_time_is_said(columns, put, unit):
    columns[f"time [{unit}]"] = columns.pop("time (s)")
    columns.pop("utc (s)")
    recording = read_log(put(columns))
    (message,) = recording.messages
    assert message.outcome == "flagged"
    assert f'channel time: "{unit}" is no unit of time that is known here' in message.text
    assert "Read as seconds" in message.text


@pytest.mark.parametrize("piece", ["(a)", "[", "{<(", " in ", "_g"])
def test_name_of_a_megabyte_is_kept_and_not_looked_through(piece):
    """Each bracket would cost a copy of the name: half a million of them, hours."""
    cell = piece * (1_000_000 // len(piece)) + "x"
    label = split_label(cell)
    assert (label.name, label.unit) == (cell.strip(), None)
