"""NMEA 0183: what is read of it, and the outcome of every faulty file.

The logs are invented; the numbers (N01 …) are those of the project's list of faults. A sentence
is ``$`` talker kind ``,`` cells ``*`` and the exclusive or of all bytes between, in hexadecimal.
"""

from __future__ import annotations

import datetime
import os
from functools import reduce
from operator import xor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapwright.errors import InputError, UsageError
from lapwright.readers import read_log
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.nmea import read
from lapwright.readers.source import Source
from lapwright.workflow.inspect import inspect_log

KNOT = 1852.0 / 3600.0  # m/s, by the definition of the nautical mile


def sentence(body):
    return f"${body}*{reduce(xor, body.encode(), 0):02X}"


def angle(value, digits, plus, minus):
    degrees, minutes = divmod(abs(value) * 60.0, 60.0)
    return f"{int(degrees):0{digits}d}{minutes:08.5f},{plus if value >= 0 else minus}"


def render(columns, kinds=("RMC", "GGA", "VTG"), talkers=("GN",), date=True, status="A"):
    """Sentences of each moment, as a receiver sends them."""
    north = np.gradient(columns["lat (deg)"]) * 111_150.0
    east = np.gradient(columns["lon (deg)"]) * 76_740.0
    smooth = np.ones(11) / 11.0
    north, east = (np.convolve(c, smooth, mode="same") for c in (north, east))
    course = np.degrees(np.arctan2(east, north)) % 360.0
    lines = []
    for i, utc in enumerate(columns["utc (s)"]):
        moment = datetime.datetime.fromtimestamp(round(utc, 2), datetime.UTC)
        of_day = moment.strftime("%H%M%S.") + f"{moment.microsecond // 10_000:02d}"
        place = angle(columns["lat (deg)"][i], 2, "N", "S") + ","
        place += angle(columns["lon (deg)"][i], 3, "E", "W")
        knots = f"{columns['speed (m/s)'][i] / KNOT:.4f}"
        day = moment.strftime("%d%m%y") if date else ""
        for talker in talkers:
            bodies = {
                "RMC": f"{talker}RMC,{of_day},{status},{place},{knots},{course[i]:.2f},{day},,,A",
                "GGA": f"{talker}GGA,{of_day},{place},1,12,0.7,{columns['alt (m)'][i]:.2f},M,,M,,",
                "VTG": f"{talker}VTG,{course[i]:.2f},T,,M,{knots},N,"
                f"{columns['speed (m/s)'][i] * 3.6:.4f},K,A",
            }
            lines += [sentence(bodies[kind]) for kind in kinds]
    return lines


@pytest.fixture
def clean(build):
    return build(rate_hz=10.0, laps=2.0)


def test_published_sentence(put):
    """Example that stands in many descriptions of the standard (from memory): 48° 07.038' N."""
    lines = ["$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47"]
    lines += [
        sentence(f"GPGGA,12352{i},4807.038,S,01131.000,W,1,08,0.9,545.4,M,,M,,") for i in "01"
    ]
    channels = read_log(put(lines, "s.nmea")).channels
    expected = 48.0 + 7.038 / 60.0
    np.testing.assert_allclose(channels["latitude"].values, [expected, -expected, -expected])
    assert channels["longitude"].values[0] == pytest.approx(11.0 + 31.0 / 60.0)
    assert channels["altitude"].values[0] == 545.4


@pytest.mark.parametrize("kinds", [("RMC", "GGA", "VTG"), ("RMC",), ("GGA", "VTG"), ("VTG", "GGA")])
def test_round_trip(clean, put, kinds):
    inspection = inspect_log(put(render(clean, kinds), "s.nmea"))
    expected = ["no sentence gives a date"] if "RMC" not in kinds else []
    assert [m.found for m in inspection.messages] == expected
    channels = inspection.recording.channels
    t = channels["latitude"].time
    np.testing.assert_allclose(t, clean["time (s)"] - clean["time (s)"][0], atol=1e-6)
    # 1e-5 minutes are 1.7e-7 degrees, the last digit written.
    np.testing.assert_allclose(channels["latitude"].values, clean["lat (deg)"], atol=1.7e-7)
    np.testing.assert_allclose(channels["speed"].values, clean["speed (m/s)"], atol=1e-4)
    assert channels["speed"].unit == "m/s"
    if "RMC" in kinds:
        np.testing.assert_allclose(channels["utc"].values, clean["utc (s)"], atol=0.0051)


def test_several_talkers_are_one_receiver(clean, put):
    lines = render(clean, talkers=("GP", "GN", "GL"))
    inspection = inspect_log(put(lines, "s.nmea"))
    assert [m.text for m in inspection.messages] == []
    assert inspection.recording.info["dialect"] == "NMEA 0183, talker GN"
    assert inspection.recording.channels["latitude"].values.size == clean["time (s)"].size


def test_past_midnight(clean, put):
    clean["utc (s)"] = clean["utc (s)"] - clean["utc (s)"][0] + 1_778_371_200.0 - 30.0
    path = put(render(clean), "s.nmea")
    inspection = inspect_log(path)
    assert [m.text for m in inspection.messages] == []
    got = inspection.recording.channels["utc"].values
    np.testing.assert_allclose(got, clean["utc (s)"], atol=0.0051)
    undated = inspect_log(put(render(clean, date=False), "s.nmea"))
    time = undated.recording.channels["latitude"].time
    np.testing.assert_allclose(time, clean["time (s)"], atol=1e-6)


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
def test_line_ends(clean, put, end):
    path = put(end.join(render(clean)) + end, "s.nmea")
    assert inspect_log(path).messages == ()


def test_lines_between_the_sentences_are_passed_over(clean, put):
    lines = render(clean)
    lines[0:0] = ["invented logger 3", ""]
    lines[40:40] = ["# lap button", sentence("GNGSA,A,3,01,02"), "!AIVDM,1,1,,A,x,0*00"]
    assert inspect_log(put(lines, "s.nmea")).messages == ()


def spoil(line):
    """One digit changed, as a transmission fault does, the checksum left."""
    at = line.index(".") + 1
    return line[:at] + str((int(line[at]) + 1) % 10) + line[at + 1 :]


def test_n01_wrong_checksums(expect, clean, put):
    lines = render(clean, ("RMC",))
    rows = np.random.default_rng(2).permutation(np.arange(20, len(lines) - 20, 9))[:40]
    for row in rows:
        lines[row] = spoil(lines[row])
    message, inspection = expect(
        put(lines, "s.nmea"), "repaired", f"lines {rows.min() + 1}–{rows.max() + 1}",
        f"40 of {len(lines):,} sentences".replace(",", " "), "wrong checksum", "Dropped",
        "longest gap 0.20 s",
    )  # fmt: skip
    assert message.line == rows.min() + 1
    kept = inspection.recording.channels["latitude"]
    truth = np.delete(clean["time (s)"], rows)
    np.testing.assert_allclose(kept.time, truth, atol=1e-6)


def test_n17_garbled_bytes(expect, clean, put):
    rng = np.random.default_rng(4)
    data = bytearray(("\r\n".join(render(clean, ("RMC",))) + "\r\n").encode())
    for at in rng.integers(0, len(data), 60):
        data[at] = rng.integers(128, 256)
    message, inspection = expect(put(bytes(data), "s.nmea"), "repaired", "wrong checksum or none")
    assert message.line is not None
    lat = inspection.recording.channels["latitude"].values
    assert np.nanmax(np.abs(lat - np.nanmedian(lat))) < 0.01


def test_n02_no_checksums(expect, clean, put):
    path = put([line[:-3] for line in render(clean)], "s.nmea")
    message, _ = expect(path, "ask", "no sentence has a checksum", "transmission cannot be seen")
    assert message.answer == "--set file.checksums=none"
    answered = inspect_log(path, unit_answers={"file.checksums": "none"})
    assert answered.outcome == "accepted"
    got = answered.recording.channels["latitude"].values
    np.testing.assert_allclose(got, clean["lat (deg)"], atol=1.7e-7)


def test_n05_status_v(expect, clean, put):
    t = clean["time (s)"]
    lost = (t >= 58.3 - 1e-9) & (t < 61.35)
    lines = render(clean, ("RMC",))
    for row in np.flatnonzero(lost):
        of_day = lines[row].split(",")[1]
        lines[row] = sentence(f"GNRMC,{of_day},V,,,,,,,090526,,,N")
    message, inspection = expect(
        put(lines, "s.nmea"), "flagged", "t = 58.3–61.3 s", "reports no fix (V)", "not read as 0, 0"
    )
    assert (message.start_s, message.end_s) == pytest.approx((58.3, 61.3))
    latitude = inspection.recording.channels["latitude"].values
    assert np.isnan(latitude).sum() in (0, lost.sum())
    assert np.nanmin(latitude) > 46.0
    assert any(s.channel == "latitude" for s in inspection.recording.marked)


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ({3: "4675.12345"}, "RMC latitude: 75.12345 minutes (0 to 59.99)"),
        ({4: "X"}, 'RMC latitude: hemisphere "X" is neither N nor S'),
        ({6: ""}, 'RMC longitude: hemisphere "" is neither E nor W'),
        ({3: "9930.00000"}, '"9930.00000" is outside ±90 deg'),
        ({1: "256161.00"}, 'RMC time: "256161.00" is no time of day'),
        ({3: "nan"}, 'RMC latitude: "nan" is no number'),
        ({1: "9" * 307}, "is no time of day"),
    ],
    ids=["N07", "N06", "N06-east", "N07-degrees", "N08", "word", "beyond any number"],
)
def test_n06_to_n08_bad_cells(expect, clean, put, change, found):
    lines = render(clean, ("RMC",))
    for row in (300, 400, 500, 600):
        cells = lines[row][1:-3].split(",")
        for at, text in change.items():
            cells[at] = text
        lines[row] = sentence(",".join(cells))
    message, inspection = expect(
        put(lines, "s.nmea"), "repaired", "line 301", found, "4 sentences dropped",
        "lines 301, 401, 501, 601",
    )  # fmt: skip
    assert message.line == 301
    assert inspection.recording.channels["latitude"].values.size == len(lines) - 4


def test_n09_date_comes_late(expect, clean, put):
    lines = render(clean, ("RMC",))
    for row in range(60):
        cells = lines[row][1:-3].split(",")
        cells[9] = "000000"
        lines[row] = sentence(",".join(cells))
    message, inspection = expect(
        put(lines, "s.nmea"), "repaired", "lines 1–60", "date 000000", "Taken from line 61",
        "2026-05-09",
    )  # fmt: skip
    assert message.line == 1
    got = inspection.recording.channels["utc"].values
    np.testing.assert_allclose(got, clean["utc (s)"], atol=0.0051)


def test_n11_no_date(expect, clean, put):
    path = put(render(clean, date=False), "s.nmea")
    written = 1_778_320_000.0 + 5.5 * 86_400.0
    os.utime(path, (written, written))
    last = len(path.read_text().splitlines())
    message, inspection = expect(
        path, "ask", f"s.nmea, lines 1–{last - 2}: no sentence gives a date", "Take 2026-05-14",
        "Lap times are the same with any date",
    )  # fmt: skip
    assert (message.line, message.answer) == (1, "--set file.date=2026-05-14")
    time = inspection.recording.channels["latitude"].time
    np.testing.assert_allclose(time, clean["time (s)"], atol=1e-6)


def test_n11_the_date_that_was_given_is_that_of_the_first_sentence(expect, clean, put):
    clean["utc (s)"] = clean["utc (s)"] - clean["utc (s)"][0] + 1_778_371_200.0 - 30.0
    path = put(render(clean, date=False), "s.nmea")
    answered = inspect_log(path, unit_answers={"file.date": "2026-05-09"})
    assert [m.text for m in answered.messages] == []
    utc = answered.recording.channels["utc"].values
    np.testing.assert_allclose(utc, clean["utc (s)"], atol=0.0051)
    without = inspect_log(path, unit_answers={"file.date": "none"})
    assert [m.text for m in without.messages] == []
    time = without.recording.channels["latitude"].time
    np.testing.assert_allclose(time, clean["time (s)"], atol=1e-6)
    message, _ = expect(path, "repaired", "no sentence gives a date", accept_offered=True)
    assert "Answered as offered (--set file.date=" in message.text


def test_n11_what_is_no_date_is_refused_as_an_answer(clean, put):
    path = put(render(clean, date=False), "s.nmea")
    with pytest.raises(UsageError, match=r"file\.date=9 May"):
        inspect_log(path, unit_answers={"file.date": "9 May"})


def test_n15_flood_of_carriage_returns(expect, clean, put):
    lines = render(clean)
    lines[1876] = lines[1876] + "\r" * 300_000
    message, _ = expect(
        put(lines, "s.nmea"), "repaired", "line 1877", f"{len(lines[1876]):,}".replace(",", " "),
        "limit 1 024", "Line dropped",
    )  # fmt: skip
    assert message.line == 1877


def test_cut_last_sentence(expect, clean, put):
    text = "\r\n".join(render(clean))[:-12]
    n = len(render(clean))
    expect(put(text, "s.nmea"), "repaired", f"line {n}", "ends inside a sentence")


def test_nothing_with_a_place(expect, put):
    lines = [sentence("GPGSV,1,1,01,02,03,04,05")] * 40
    expect(put(lines, "s.nmea"), "refused", "line 1", "no sentence gives a time and a place")


@settings(deadline=None, max_examples=150)
@given(st.data())
def test_spoilt_logs_end_in_a_recording_or_a_named_refusal(data):
    text = bytearray(SMALL)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(text) - 1))
        end = min(at + data.draw(st.integers(0, 60)), len(text))
        text[at:end] = data.draw(
            st.sampled_from([b"", b"$", b"*", b"\0", b"\r", b",", b"-", b"\xff", text[at:end] * 2])
        )
    try:
        recording = read(Source(None, "s.nmea", bytes(text), ""), RULES)
    except InputError as error:
        said = [m.text for m in error.messages]
    else:
        said = [m.text for m in recording.messages]
        assert np.all(np.diff(next(iter(recording.channels.values())).time) > 0)
    assert all(text.startswith("s.nmea") for text in said)


RULES = ChannelMapping({}, {"checksums": "none"})


def _small():
    t = np.arange(40) / 10.0
    columns = {
        "utc (s)": 1_778_320_000.0 + t,
        "lat (deg)": 46.5 + 1e-5 * t,
        "lon (deg)": 9.25 + 2e-5 * t,
        "alt (m)": 400.0 + t,
        "speed (m/s)": 20.0 + t,
    }
    return "\r\n".join(line[:-3] for line in render(columns)).encode()


SMALL = _small()
