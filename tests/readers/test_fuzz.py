"""What fuzzing found stays mended, and the fuzz targets themselves still run.

The inputs are made here, cut down from what was found; all are invented.
"""

from __future__ import annotations

import importlib
import io
import re
import zipfile
from pathlib import Path
from re import _constants, _parser

import numpy as np
import pytest

from lapwright.errors import InputError, UsageError
from lapwright.model.build_circuit import build_circuit_from_centre
from lapwright.model.car_toml import read_car
from lapwright.model.notes_toml import read_notes
from lapwright.readers import csv
from lapwright.readers.circuit_files import read_circuit
from lapwright.readers.damage import Damaged
from lapwright.readers.mapping import ChannelMapping, read_mapping
from lapwright.readers.registry import read_log
from lapwright.readers.source import Source
from lapwright.readers.zip_members import unpack_zip


@pytest.fixture(scope="module")
def fuzzer():
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(Path(__file__).parents[2] / "fuzz")
        yield importlib.import_module("fuzz_readers")


@pytest.mark.parametrize(
    "name",
    ["csv", "gpx", "nmea", "geojson", "opendrive", "circuit", "line", "mapping", "car", "notes",
     "layout", "zip", "mdf"],
)  # fmt: skip
def test_targets_end_as_they_may(fuzzer, name, capsys):
    run = fuzzer.Run(name)
    fuzzer.run_own(run, seconds=60.0, seed=11, most=120)
    assert run.ends["findings"] == 0
    assert sum(run.ends.values()) == 120
    assert f"{name}: 120 executions" in capsys.readouterr().out


def test_quotes_inside_cells(put, columns, render):
    """A quote that stands inside a cell hid delimiters from one count of cells only."""
    lines = render(columns)
    cells = lines[700].split(",")
    cells[12] = cells[12][:2] + '"' + cells[12][2:]
    cells[13] = cells[13][:2] + '"' + cells[13][2:]
    lines[700] = ",".join(cells)
    recording = read_log(put(lines))
    assert recording.channels["speed"].values.size == len(lines) - 1
    (said,) = [m for m in recording.messages if "quote" in m.text]
    assert said.line == 701


def test_quoted_cells_are_sound(put, columns, render):
    lines = render(columns)
    lines = [lines[0] + ",note", *[line + ',"wet, ""off""; fine"' for line in lines[1:]]]
    recording = read_log(put(lines))
    assert recording.messages == ()
    assert recording.channels["speed"].values.size == len(lines) - 1


def test_lane_without_a_number(fuzzer, tmp_path):
    path = tmp_path / "c.xodr"
    path.write_bytes(fuzzer.make_seeds("opendrive")[0].replace(b'lane id="1"', b'lane id="x"'))
    with pytest.raises(InputError, match=r'c\.xodr, line 1: id of lane is "x"'):
        read_circuit([path])


def test_coordinates_too_far_apart(fuzzer, tmp_path):
    """One point on the other side of the earth asked for a road of millions of samples."""
    path = tmp_path / "c.geojson"
    path.write_bytes(fuzzer.make_seeds("geojson")[0].replace(b"[9.251275,", b"[-99.251275,"))
    with pytest.raises(InputError, match="km long; x and y must be in metres"):
        read_circuit([path])


def test_archive_entry_with_an_odd_name():
    """An entry whose name is one zero byte ended in an error of the library."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("a", "1")
    data = bytearray(out.getvalue())
    for at in (30, data.rindex(b"PK\x01\x02") + 46):
        data[at] = 0
    with pytest.raises(Damaged):
        unpack_zip(bytes(data))


def test_times_that_are_all_unreadable(put):
    """Warnings are errors here: no statistics of nothing."""
    rows = [f"?,46.{i:04d},9.1{i:03d}" for i in range(40)]
    with pytest.raises(InputError):
        read_log(put(["time,lat,lon", *rows]))


def test_patterns_have_no_nested_repeats():
    """Every pattern in the readers repeats over classes of signs only, never over repeats.

    A backtracking engine needs more than linear time only where a repeat without a bound
    stands inside another one, or where two such repeats over shared signs follow each other
    (from memory; the parser of Python's own `re` module tells the structure).
    """

    def unbounded(tree, inside=False):
        for op, argument in tree:
            if op in (_constants.MAX_REPEAT, _constants.MIN_REPEAT):
                _, most, inner = argument
                is_open = most is _constants.MAXREPEAT
                if is_open and inside:
                    yield inner
                yield from unbounded(inner, inside or is_open)
            elif op is _constants.SUBPATTERN:
                yield from unbounded(argument[-1], inside)
            elif op is _constants.BRANCH:
                for part in argument[1]:
                    yield from unbounded(part, inside)

    folder = Path(__file__).parents[2] / "src/lapwright/readers"
    found = 0
    for path in sorted(folder.glob("*.py")):
        module = importlib.import_module(f"lapwright.readers.{path.stem}")
        for value in vars(module).values():
            if isinstance(value, re.Pattern):
                found += 1
                assert list(unbounded(_parser.parse(value.pattern))) == [], (path.name, value)
    assert found >= 4
    assert list(unbounded(_parser.parse("(a+)+b"))) != []


@pytest.mark.parametrize("text", ["a = " + "[" * 3_000, "a = " + "1" * 5_000], ids=["deep", "long"])
@pytest.mark.parametrize("read", [read_mapping, read_car, read_notes], ids=["map", "car", "notes"])
def test_toml_beyond_what_its_parser_bears(tmp_path, read, text):
    """Nesting ended in a RecursionError, a number of 5 000 digits in a bare ValueError."""
    path = tmp_path / "s.toml"
    path.write_text(text)
    with pytest.raises(InputError, match=r"s\.toml.*TOML"):
        read(path)


@pytest.mark.parametrize(
    ("read", "text"),
    [
        (read_notes, "[[landmarks]]\nat_m = {}\nside = 'left'\n"),
        (read_car, "mass_kg = {}\n"),
        (read_car, "power_per_mass_wpkg = {{value = 150.0, low = 140.0, high = {}}}\n"),
    ],
    ids=["landmark", "car", "interval"],
)
def test_whole_numbers_that_no_float_holds(tmp_path, read, text):
    """They ended in an OverflowError."""
    path = tmp_path / "s.toml"
    path.write_text(text.format("1" * 400))
    with pytest.raises(InputError, match=r"s\.toml"):
        read(path)


def test_a_place_of_which_no_kept_cell_can_be_read(put):
    """The question whether it holds degrees and minutes looked at its first value."""
    head = "time(s)\tlat(deg)\tlon(deg)\tspeed[km/h]\tgear"
    rows = [
        "0.0000-00\t46.50000\t9.25000\t20.00000\t3.00000",
        "0.60000\t46.5000006\t9.25U12\t20.60000\t3.00000",
        "0.80000\t46.50008\tnan9.25016\t20.80000\t3.00000",
    ]
    recording = read_log(put([head, *rows]))
    assert not np.isfinite(recording.channels["longitude"].values).any()
    assert not any("is outside" in m.text for m in recording.messages)


def test_a_line_wound_a_hundred_times_round_one_metre():
    """Smoothing left one point of it, and its length was no number."""
    angle = 0.955 * np.arange(628)
    width = np.full(angle.size, 4.0)
    with pytest.raises(UsageError, match="shrinks to a point"):
        build_circuit_from_centre(np.cos(angle), np.sin(angle), width, width)


def test_points_beyond_the_earth(fuzzer, tmp_path):
    """They overflowed where a curve is fitted, though they lay near each other."""
    path = tmp_path / "c.xodr"
    seed = fuzzer.make_seeds("opendrive")[0]
    path.write_bytes(re.sub(rb' y="[^"]*"', b' y="1e308"', seed))
    with pytest.raises(InputError, match='y of geometry is "1e308"'):
        read_circuit([path])


def test_track_points_with_a_tab_in_their_time(fuzzer, tmp_path):
    """Points written alike were looked for, and none was found, not even the first."""
    path = tmp_path / "s.gpx"
    path.write_bytes(fuzzer.make_seeds("gpx")[0].replace(b"Z</time>", b"Z\t</time>"))
    recording = read_log(path)
    assert recording.channels["latitude"].values.size == 4


def test_stamps_half_of_which_are_decades_away(put):
    """Nothing lay near the mean of the two in the middle."""
    times = [2_147_483_648 + k for k in range(4)] + list(range(4))
    recording = read_log(put(["utc,v", *(f"{t},{i}" for i, t in enumerate(times))]))
    assert recording.channels["utc"].values.size > 0


def test_a_mark_of_utf_16_alone(tmp_path):
    """Decoded, nothing is left of it, which was taken for a file left on the disk."""
    source = Source(tmp_path / "never_written.csv", "s.csv", b"\xff\xfe", "")
    with pytest.raises(InputError, match="blank lines only"):
        csv.read(source, ChannelMapping())
