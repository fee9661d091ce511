"""Small files that people write or draw: one limit, what is a line, what is a number.

Everything here is invented.
"""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.errors import InputError
from lapwright.model.car_toml import read_car
from lapwright.model.notes_toml import read_notes
from lapwright.model.small_files import KEY_PARTS, LARGEST_BYTES, split_lines
from lapwright.readers.circuit_files import read_circuit
from lapwright.readers.line_files import read_line
from lapwright.readers.mapping import read_mapping
from lapwright.readers.sheets import read_number

READERS = {
    "car.toml": read_car,
    "notes.toml": read_notes,
    "channels.toml": read_mapping,
    "line.csv": read_line,
    "circuit.json": lambda path: read_circuit([path]),
    "survey.csv": lambda path: read_circuit([path]),
}


@pytest.mark.parametrize("name", READERS)
def test_one_limit_holds_for_all_small_files(tmp_path, name):
    path = tmp_path / name
    path.write_bytes(b"\n" * (LARGEST_BYTES + 1))
    with pytest.raises(InputError) as raised:
        READERS[name](path)
    (message,) = raised.value.messages
    assert message.outcome == "refused"
    assert message.text.startswith(f"{name}: the file holds more than 16 MB, the most that is read")


@pytest.mark.parametrize("name", READERS)
def test_what_cannot_be_opened_is_said_alike(tmp_path, name):
    with pytest.raises(InputError) as raised:
        READERS[name](tmp_path / name)
    assert raised.value.messages[0].text.startswith(f"{name}: the file cannot be opened (No such")


@pytest.mark.parametrize("name", ["car.toml", "notes.toml", "channels.toml"])
@pytest.mark.parametrize(
    ("data", "line", "found"),
    [
        (b"a = 1\nb = = 2\n", 2, "is no TOML"),
        (b"a = 1\n\xff\xfe", None, "byte 6: is no text in UTF-8"),
        (b"\n" + b"a." * KEY_PARTS + b"b = 1\n", 2, f"more than {KEY_PARTS} parts"),
        (b'"="."="."."' * 200, 1, "is no TOML"),
        (b"a = " + b"[" * 100_000, None, "is no TOML"),
    ],
    ids=["syntax", "UTF-16", "dotted", "quoted", "nested"],
)
def test_broken_toml_names_its_line(tmp_path, name, data, line, found):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(InputError) as raised:
        READERS[name](path)
    (message,) = raised.value.messages
    assert message.line == line
    assert message.text.startswith(f"{name}, line {line}: " if line else name)
    assert found in message.text


@pytest.mark.parametrize("name", ["car.toml", "notes.toml", "channels.toml"])
def test_toml_may_begin_with_a_mark(tmp_path, name):
    text = {"car.toml": CAR, "notes.toml": "renumber = true\n", "channels.toml": ""}[name]
    path = tmp_path / name
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    marked = READERS[name](path)
    path.write_text(text, encoding="utf-8")
    assert repr(marked) == repr(READERS[name](path))


CAR = "mass_kg = 900\npower_w = 200e3\ndrag_area_m2 = 0.8\ngrip_forward = 1.2\ngrip_lateral = 1.3\n"


def test_a_text_of_many_sentences_is_no_key(tmp_path):
    path = tmp_path / "notes.toml"
    sentence = "Brake. Turn. Look, then wait. "
    path.write_text(f'[[corners]]\ncorner = 1\ntext = "{sentence * 40}"\n', encoding="utf-8")
    assert read_notes(path).corners[0].texts == (sentence * 40,)


def test_lines_end_where_files_end_them():
    assert split_lines("a\u2028b\x0bc\x85d\r\ne\rf\n\n") == ["a\u2028b\x0bc\x85d", "e", "f", ""]


def ring(n=40):
    angle = np.arange(n) * 2.0 * np.pi / n
    return 90.0 * np.cos(angle), 90.0 * np.sin(angle)


@pytest.mark.parametrize(
    ("cut", "decimal", "head"),
    [
        (",", ".", "x,y,note"), (";", ",", "x;y;note"), ("\t", ",", "x\ty\tnote"),
        (";", ".", "# x [m];y [m];note"), (",", ".", "a line\x0b of mine\u2028, drawn\nx,y,note"),
    ],
)  # fmt: skip
def test_line_in_every_usual_dialect(tmp_path, cut, decimal, head):
    x, y = ring()
    points = [(f"{a:.4f}", f"{b:.4f}") for a, b in zip(x, y, strict=True)]
    rows = [cut.join((*p, "fine")).replace(".", decimal) for p in points]
    path = tmp_path / "line.csv"
    path.write_text("\n".join([head, *rows]), encoding="utf-8")
    got = read_line(path)
    np.testing.assert_allclose(got, (x, y), atol=5.1e-5)


def test_line_with_commas_for_two_things_is_refused(tmp_path):
    """Four cells under x, y: taken as they stand, every y would be the decimals of x."""
    x, y = ring()
    rows = [f"{a:.3f},{b:.3f}".replace(".", ",") for a, b in zip(x, y, strict=True)]
    path = tmp_path / "line.csv"
    path.write_text("\n".join(["x,y", *rows]), encoding="utf-8")
    with pytest.raises(InputError, match="line 2: 4 cells under 2 names"):
        read_line(path)
    with pytest.raises(InputError, match="line 2: 4 cells under 2 names"):
        read_circuit([path])


def test_survey_with_decimal_commas(tmp_path):
    x, y = ring(150)
    rows = [f"{a:.4f};{b:.4f};4,5;7,25;".replace(".", ",") for a, b in zip(x, y, strict=True)]
    path = tmp_path / "survey.csv"
    path.write_text("\n".join(["x;y;right;left;", *rows]), encoding="utf-8")
    circuit = read_circuit([path])
    np.testing.assert_allclose(circuit.left, 7.25, atol=0.02)
    np.testing.assert_allclose(circuit.right, 4.5, atol=0.02)


@pytest.mark.parametrize("cell", ["1_0", "１２", "nan", "inf", "1e400", "", "0x10", "1,5"])
def test_what_is_no_number_of_a_file(cell):
    assert read_number(cell) is None


def test_lines_of_notes_are_found_at_once(tmp_path):
    """Twenty thousand tables with a fault each: every one has its own line."""
    path = tmp_path / "notes.toml"
    path.write_text("[[corners]]\nat_m = 3.5\nodd = 1\n\n" * 20_000, encoding="utf-8")
    with pytest.raises(InputError) as raised:
        read_notes(path)
    assert [m.line for m in raised.value.messages] == [4 * i + 3 for i in range(20_000)]
