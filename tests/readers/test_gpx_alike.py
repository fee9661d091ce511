"""Points taken together say what events say of them; both are held against each other.

Documents are invented. Where the points cannot be taken together the events read the document,
so what is tested is that the short way never says anything else than the long one.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from lapwright.errors import InputError
from lapwright.readers import gpx_points
from lapwright.readers.gpx_alike import find_alike
from lapwright.readers.source import Source

POINT = (
    '<trkpt lat="46.5{0}" lon="9.2{0}">\n <ele>40{0}</ele><time>2026-05-09T10:00:0{0}Z</time>'
    '<extensions><x:p><x:speed unit="m/s">2{0}</x:speed></x:p></extensions></trkpt>'
)
PIECES = [
    *(POINT.format(k) for k in range(4)),
    *(POINT.format(k).replace("><", ">\r\n  <") for k in range(2)),
    "\n", "</trkseg><trkseg>", "</trkseg></trk><trk><name>é b</name><trkseg>", "<!-- a -->",
    POINT.format(5).replace("<ele>405</ele>", ""), POINT.format(6).replace("406", " 406 "),
    POINT.format(7).replace("407", ""), POINT.format(8).replace("408", "4&#48;8"),
    POINT.format(9).replace("409", "<![CDATA[409]]>"), "<trkpt/>", "<name>late</name>", "trkpt",
    POINT.format(1).replace("<ele>", "<ele>9</ele><ele>"), '<trkpt lat="1" lon="2"></trkpt>',
    POINT.format(2).replace('"46.52"', "'46.52'"), POINT.format(3).replace("</x:p>", ""),
]  # fmt: skip


def compose(pieces):
    head = '<?xml version="1.0"?>\n<gpx version="1.1"><trk><name>a</name><trkseg>'
    return f"{head}{''.join(pieces)}</trkseg></trk></gpx>".encode()


def collect(data):
    try:
        points, said = gpx_points.collect_points(Source(Path("s"), "s", data, ""))
    except InputError as error:
        return str(error)
    names = ("lines", "latitudes", "longitudes", "tracks", "names", "texts", "whole")
    return [getattr(points, n) for n in names], list(points.texts), said


def collect_by_events(data, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(gpx_points, "find_alike", lambda _data: None)
        return collect(data)


@pytest.mark.parametrize("seed", range(40))
def test_documents_of_all_sorts_read_the_same(monkeypatch, seed):
    chance = random.Random(seed)
    odd = chance.choice([0, 0, 1, 3])
    pieces = [chance.choice(PIECES[:9]) for _ in range(12)] + chance.sample(PIECES[9:], odd)
    chance.shuffle(pieces)
    data = compose(pieces)
    assert collect(data) == collect_by_events(data, monkeypatch)


@pytest.mark.parametrize("seed", range(60))
def test_spoilt_documents_read_the_same(monkeypatch, seed):
    chance = random.Random(seed)
    data = bytearray(compose(PIECES[:8]))
    for _ in range(chance.choice([1, 1, 2, 5])):
        at = chance.randrange(len(data))
        data[at : at + chance.choice([0, 1, 9])] = chance.choice(
            [b"", b"<", b">", b'"', b"&", b"\x00", b"\xe9", b"]]>", b"</trkpt>", b"trkpt", b"\n"]
        )
    spoilt = bytes(data)
    assert collect(spoilt) == collect_by_events(spoilt, monkeypatch)


def test_points_of_two_tracks_are_taken_together():
    data = compose([POINT.format(1), POINT.format(2), "</trkseg></trk><trk><trkseg>", PIECES[3]])
    alike = find_alike(data)
    assert alike is not None
    assert alike.starts.size == 3
    assert alike.runs.tolist() == [0, 2]
    assert alike.texts["speed"] == ["21", "22", "23"]


@pytest.mark.parametrize("piece", PIECES[9:])
def test_what_is_written_otherwise_is_left_to_the_events(piece):
    assert find_alike(compose([PIECES[0], piece, PIECES[1]])) is None or piece in (
        PIECES[11], PIECES[12], "<name>late</name>"
    )  # fmt: skip
