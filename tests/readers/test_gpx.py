"""GPX: what is read of it, and the outcome of every faulty one.

The tracks are invented; the numbers (G01 …) are those of the project's list of faults. The
elements are those of the open GPX 1.0 and 1.1 schemas.
"""

from __future__ import annotations

import datetime
import re

import gpxpy
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapwright.errors import InputError
from lapwright.readers import read_log
from lapwright.readers.gpx import read
from lapwright.readers.mapping import ChannelMapping
from lapwright.readers.source import Source
from lapwright.readers.table import count
from lapwright.workflow.inspect import inspect_log

HEAD = [
    '<?xml version="1.0" encoding="UTF-8"?>',
    '<gpx version="1.1" creator="invented" xmlns:ext="urn:x">',
]
OPEN, CLOSE = ["<trk><name>session</name>", "<trkseg>"], ["</trkseg>", "</trk>"]


def stamp(seconds, decimals=3):
    moment = datetime.datetime.fromtimestamp(round(seconds, decimals), datetime.UTC)
    text = moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
    return text if decimals else text.replace(".000", "")


def render_points(columns, extended=True, decimals=3):
    """One line a point, as most exporters write it."""
    speed = columns["speed (m/s)"]
    course = course_of(columns)
    lines = []
    for i in range(columns["utc (s)"].size):
        more = f"<ext:speed>{speed[i]:.4f}</ext:speed><ext:course>{course[i]:.3f}</ext:course>"
        more = f"<extensions><ext:point>{more}</ext:point></extensions>" if extended else ""
        lines.append(
            f'<trkpt lat="{columns["lat (deg)"][i]:.8f}" lon="{columns["lon (deg)"][i]:.8f}">'
            f"<ele>{columns['alt (m)'][i]:.2f}</ele>"
            f"<time>{stamp(columns['utc (s)'][i], decimals)}</time>{more}</trkpt>"
        )
    return lines


def course_of(columns):
    north = np.gradient(columns["lat (deg)"]) * 111_150.0
    east = np.gradient(columns["lon (deg)"]) * 76_740.0
    smooth = np.ones(11) / 11.0
    north, east = (np.convolve(c, smooth, mode="same") for c in (north, east))
    return np.degrees(np.arctan2(east, north)) % 360.0


def track(points):
    return [*HEAD, *OPEN, *points, *CLOSE, "</gpx>"]


@pytest.fixture
def points(build):
    return render_points(build(rate_hz=10.0, laps=2.0))


FIRST = 5  # line of the first point in a file made by `track`


def test_reads_what_another_reader_reads(build, put):
    """Times, places and heights as gpxpy, a general-purpose library, reads them."""
    path = put(track(render_points(build(rate_hz=10.0, laps=1.0))), "s.gpx")
    recording = read_log(path)
    other = gpxpy.parse(path.read_text()).tracks[0].segments[0].points
    channels = recording.channels
    np.testing.assert_allclose(channels["latitude"].values, [p.latitude for p in other])
    np.testing.assert_allclose(channels["longitude"].values, [p.longitude for p in other])
    np.testing.assert_allclose(channels["altitude"].values, [p.elevation for p in other])
    began = other[0].time
    times = [(p.time - began).total_seconds() for p in other]
    np.testing.assert_allclose(channels["latitude"].time, times, atol=1e-6)


@pytest.mark.parametrize("extended", [True, False])
def test_clean_track_gives_no_message(build, put, extended):
    columns = build(rate_hz=10.0, laps=2.0)
    inspection = inspect_log(put(track(render_points(columns, extended)), "s.gpx"))
    assert [m.text for m in inspection.messages if m.outcome != "flagged"] == []
    if extended:
        assert inspection.messages == ()
        speed = inspection.recording.channels["speed"]
        np.testing.assert_allclose(speed.values, columns["speed (m/s)"], atol=5.1e-5)
        assert (speed.unit, speed.rate_hz) == ("m/s", pytest.approx(10.0))


def test_speed_and_course_of_the_older_schema(build, put):
    """GPX 1.0 has speed in m/s and course in degrees in the point itself."""
    columns = build(rate_hz=5.0, laps=1.0)
    points = render_points(columns, extended=False)
    points = [
        p.replace("</trkpt>", f"<course>12.5</course><speed>{v:.3f}</speed></trkpt>")
        for p, v in zip(points, columns["speed (m/s)"], strict=True)
    ]
    channels = read_log(put(track(points), "s.gpx")).channels
    np.testing.assert_allclose(channels["speed"].values, columns["speed (m/s)"], atol=6e-4)
    assert channels["heading"].original_unit == "deg"


@pytest.mark.parametrize("encoding", ["utf-16", "utf-8-sig"])
def test_encodings(points, put, encoding):
    text = "\n".join(track(points)).replace('encoding="UTF-8"', "")
    path = put(text.encode(encoding), "s.gpx")
    assert read_log(path).channels["latitude"].values.size == len(points)


def test_c28_gpx_under_the_name_of_a_table(expect, points, put):
    message, _ = expect(
        put(track(points), "s.csv"), "repaired", "s.csv, line 1: the content is GPX, not CSV",
        "Rename the file to s.gpx",
    )  # fmt: skip
    assert message.line == 1


def test_c28_is_said_of_a_file_that_cannot_be_used_as_well(expect, points, put):
    bare = [re.sub("<time>[^<]*</time>", "", p) for p in points]
    _, inspection = expect(put(track(bare), "s.csv"), "refused", "has a time")
    said = [m.text for m in inspection.messages]
    assert said[0].startswith("s.csv, line 1: the content is GPX, not CSV")
    assert "Rename the file to s.gpx" in said[0]


@pytest.mark.parametrize(
    "doctype",
    [
        '<!DOCTYPE gpx SYSTEM "http://localhost/x.dtd">',
        '<!DOCTYPE gpx [<!ENTITY a "b">]>',
        '<!DOCTYPE gpx [<!ENTITY a SYSTEM "file:///etc/hostname">]>',
        "<!DOCTYPE gpx [" + "".join(
            f'<!ENTITY a{i} "{f"&a{i - 1};" * 10 if i else "ha"}">' for i in range(12)
        ) + "]>",
    ],
    ids=["G01", "G02", "G03", "G04"],
)  # fmt: skip
def test_g01_to_g04_doctype(expect, points, put, doctype):
    lines = track(points)
    lines.insert(1, doctype)
    message, _ = expect(
        put(lines, "s.gpx"), "refused", "line 2", "a DOCTYPE", "can harm", "Nothing was imported"
    )
    assert message.line == 2


def test_undeclared_entity_breaks_one_point_only(expect, points, put):
    points[40] = points[40].replace("<ele>", "<ele>&xyz;")
    message, inspection = expect(
        put(track(points), "s.gpx"), "flagged", "markup is broken here, inside <ele>"
    )
    assert message.line == FIRST + 40
    latitude = inspection.recording.channels["latitude"].values
    assert latitude.size == len(points) - 1


@pytest.mark.parametrize("more", [60, 8], ids=["in an element", "in the tag"])
def test_g05_cut(expect, points, put, more):
    text = "\n".join(track(points))
    text = text[: text.index(points[-10]) + more]
    message, inspection = expect(
        put(text, "s.gpx"), "repaired", f"s.gpx, line {FIRST + len(points) - 10}:",
        "the file ends inside a point", f"{count(len(points) - 10, 'point')} kept",
    )  # fmt: skip
    assert message.line == FIRST + len(points) - 10
    assert inspection.recording.channels["latitude"].values.size == len(points) - 10


@pytest.mark.parametrize(("lost", "element"), [(1, "<gpx>"), (2, "<trk>"), (3, "<trkseg>")])
def test_g05_says_which_element_is_cut(expect, points, put, lost, element):
    lines = track(points)[:-lost]
    message, inspection = expect(
        put(lines, "s.gpx"), "repaired", f"the file ends inside {element}", "Copy it again"
    )
    assert message.line == len(lines) + 1
    assert inspection.recording.channels["latitude"].values.size == len(points)


def test_comment_that_never_closes_takes_no_points_with_it(expect, points, put):
    points[40] = points[40].replace("<ele>", "<!-- <ele>")
    message, inspection = expect(
        put(track(points), "s.gpx"), "flagged", "inside <trkpt>", "read on at the next point"
    )
    assert message.line == FIRST + 40
    assert inspection.recording.channels["latitude"].values.size == len(points) - 1


def test_every_broken_place_is_said_and_what_is_not_read(expect, points, put):
    """Of more than 50 broken places the points behind the last are left out, and counted."""
    text = track([p.replace("<ele>", "<ele>&xyz;") if i % 2 else p for i, p in enumerate(points)])
    _, inspection = expect(put(text, "s.gpx"), "flagged", "the markup is broken at 40 more places")
    broken = FIRST + 2 * 50 + 1
    message, _ = expect(
        put(text, "s.gpx"), "flagged", f"line {broken}:", "51 points kept",
        f"{count(len(points) - 102, 'point')} from here on not read",
    )  # fmt: skip
    assert message.byte == "\n".join(text).index("&xyz;", "\n".join(text).index(points[101][:40]))
    assert inspection.recording.channels["latitude"].values.size == 51


def test_g06_no_time(expect, points, put):
    bare = [re.sub("<time>[^<]*</time>", "", p) for p in points]
    expect(
        put(track(bare), "s.gpx"),
        "refused",
        f"none of {count(len(points), 'point')} has a time",
        "Export",
    )


@pytest.mark.parametrize(
    ("old", "new", "channel", "found"),
    [
        ('lat="', 'lat="9', "lat", "is outside ±90 deg"),
        ('lat="', 'lat="x', "lat", "is no number"),
        ('lon="', 'lon="nan', "lon", "is no number"),
        ('lon="', 'lon="99', "lon", "is outside ±180 deg"),
        ("<time>2026-", "<time>2026-13", "time", "is no time"),
    ],
)
def test_g07_to_g10_bad_cells(expect, points, put, old, new, channel, found):
    for row in (100, 180, 230):
        points[row] = points[row].replace(old, new)
    places = f"lines {FIRST + 100}, {FIRST + 180}, {FIRST + 230}"
    message, inspection = expect(
        put(track(points), "s.gpx"), "repaired", f"line {FIRST + 100}, channel {channel}", found,
        "3 points dropped", places,
    )  # fmt: skip
    assert message.line == FIRST + 100
    assert inspection.recording.channels["latitude"].values.size == len(points) - 3


def test_g11_whole_seconds(expect, build, put):
    columns = build(rate_hz=10.0, laps=2.0)
    path = put(track(render_points(columns | {"utc (s)": np.floor(columns["utc (s)"])})), "s.gpx")
    _, inspection = expect(path, "repaired", "10 rows share each stamp", "good to ±0.1 s")
    time = inspection.recording.channels["latitude"].time
    np.testing.assert_allclose(np.diff(time), 0.1, atol=1e-6)


def test_g12_web_page(expect, put):
    expect(put("<html><title>Sign in</title></html>", "s.gpx"), "refused", "line 1", "web page")


def test_g16_two_tracks(expect, build, put):
    columns = build(rate_hz=5.0, laps=1.0)
    beside = columns | {"lat (deg)": columns["lat (deg)"] + 2.0 / 111_195.0}
    lines = [
        *track(render_points(columns))[:-1],
        "<trk><name>second</name><trkseg>", *render_points(beside), *CLOSE, "</gpx>",
    ]  # fmt: skip
    path = put(lines, "s.gpx")
    message, _ = expect(
        path, "ask", "2 tracks overlap in time", '"session", "second"', "2.0 m apart"
    )
    assert message.answer == "--set file.track=1"
    second = inspect_log(path, unit_answers={"file.track": "2"})
    assert second.outcome == "accepted", [m.text for m in second.messages]
    got = second.recording.channels["latitude"].values
    np.testing.assert_allclose(got, beside["lat (deg)"], atol=1e-8)
    assert inspect_log(path, accept_offered=True).outcome == "repaired"


def test_tracks_one_after_the_other_are_one_session(points, put):
    half = len(points) // 2
    lines = [*HEAD, *OPEN, *points[:half], *CLOSE, *OPEN, *points[half:], *CLOSE, "</gpx>"]
    inspection = inspect_log(put(lines, "s.gpx"))
    assert inspection.messages == ()
    assert inspection.recording.channels["latitude"].values.size == len(points)


@pytest.mark.parametrize("where", ["in a point", "in the track", "before"])
def test_g17_nesting(expect, points, put, where):
    deep = "<a>" * 300 + "</a>" * 300
    lines = track(points)
    at = {"in a point": FIRST, "in the track": 4, "before": 2}[where]
    if where == "in a point":
        lines[at] = lines[at].replace("</trkpt>", deep + "</trkpt>")
    else:
        lines.insert(at, deep)
    message, _ = expect(put(lines, "s.gpx"), "refused", "elements nested deeper than 256")
    assert message.line == at + 1


@pytest.mark.parametrize(
    "flood",
    ["<!--" + "-" * 1_200_000 + "x-->", "<a " + "b" * 1_200_000 + '="1"/>', "x" * 1_200_000,
     "<![CDATA[" + "<x>" * 400_000 + "]]>", "<?x " + "<>" * 600_000 + "?>"],
    ids=["comment", "tag", "text", "cdata", "instruction"],
)  # fmt: skip
def test_g19_flood(expect, points, put, flood):
    lines = track(points)
    lines.insert(3, flood)
    expect(put(lines, "s.gpx"), "refused", "line ", "more than 1 048 576 bytes")


def test_long_text_is_refused(expect, points, put):
    points[7] = points[7].replace("<ele>", "<cmt>" + "x" * 70_000 + "</cmt><ele>")
    expect(put(track(points), "s.gpx"), "refused", f"line {FIRST + 7}", "longer than 65 536 signs")


def test_g20_order(expect, points, put):
    half = len(points) // 2
    path = put(track([*points[half:], *points[:half]]), "s.gpx")
    message, inspection = expect(
        path, "repaired", "falls by", "points out of order", "Sorted by time"
    )
    assert message.line == FIRST + len(points) - half
    assert np.all(np.diff(inspection.recording.channels["latitude"].time) > 0)


def test_hostile_names_are_text(points, put):
    lines = track(points)
    lines[2] = "<trk><name>&lt;script&gt;alert(1)&lt;/script&gt;</name>"
    assert inspect_log(put(lines, "s.gpx")).outcome == "accepted"


def test_track_without_points(expect, put):
    expect(put(track([]), "s.gpx"), "refused", "no track points", "Nothing was imported")


@settings(deadline=None, max_examples=150)
@given(st.data())
def test_spoilt_documents_end_in_a_recording_or_a_named_refusal(data):
    """Bytes changed, cut out or doubled in an invented track of 40 points."""
    text = bytearray(SMALL)
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(text) - 1))
        end = min(at + data.draw(st.integers(0, 60)), len(text))
        text[at:end] = data.draw(st.sampled_from([b"", b"<", b"&", b"\0", b">", text[at:end] * 2]))
    source = Source(None, "s.gpx", bytes(text), "")
    try:
        recording = read(source, ChannelMapping())
    except InputError as error:
        said = [m.text for m in error.messages]
    else:
        said = [m.text for m in recording.messages]
        assert np.all(np.diff(recording.channels["latitude"].time) > 0)
    assert all(text.startswith("s.gpx") for text in said)


def _small():
    t = np.arange(40) / 10.0
    columns = {
        "utc (s)": 1_778_320_000.0 + t,
        "lat (deg)": 46.5 + 1e-5 * t,
        "lon (deg)": 9.25 + 2e-5 * t,
        "alt (m)": 400.0 + t,
        "speed (m/s)": 20.0 + t,
    }
    return "\n".join(track(render_points(columns))).encode()


SMALL = _small()
