"""Faulty text tables: the outcome of each and what its message says.

The cases are invented; their numbers (C01 …) are those of the project's list of faults.
"""

from __future__ import annotations

import numpy as np
import pytest

from lapwright.errors import InputError
from lapwright.messages import worst_outcome
from lapwright.readers import read_log
from lapwright.workflow.inspect import inspect_log


def test_clean_log_gives_no_message(columns, put):
    inspection = inspect_log(put(columns))
    assert [m.text for m in inspection.messages] == []
    assert inspection.outcome == "accepted"
    assert inspection.recording.marked == ()
    assert inspection.recording.repairs == ()


@pytest.mark.parametrize("rate_hz", [10.0, 50.0, 100.0])
def test_clean_log_at_other_rates_gives_no_message(build, put, rate_hz):
    inspection = inspect_log(put(build(rate_hz=rate_hz, laps=1.5)))
    assert [m.text for m in inspection.messages] == []


@pytest.mark.parametrize("noise_m", [0.2, 0.5])
def test_noisy_positions_give_no_message(build, put, noise_m):
    inspection = inspect_log(put(build(rate_hz=10.0, noise_m=noise_m)))
    assert [m.text for m in inspection.messages] == []


def test_c01_empty(expect, put):
    message, _ = expect(put(b""), "refused", "byte 0", "empty", "Nothing was imported", "Copy")
    assert message.byte == 0


def test_c02_header_only(expect, put, columns, render):
    message, _ = expect(put(render(columns)[:1]), "refused", "line 1", "no data rows")
    assert message.line == 1


def test_c02_header_only_behind_a_preamble(expect, put, columns, render):
    lines = ["Driver,A. Example", "", render(columns)[0]]
    message, _ = expect(put(lines), "refused", "line 3", "no data rows")
    assert message.line == 3


def test_c03_byte_order_mark(put, columns, render):
    text = "\n".join(render(columns)) + "\n"
    inspection = inspect_log(put(b"\xef\xbb\xbf" + text.encode()))
    assert inspection.messages == ()
    assert inspection.recording.channels["latitude"].original == "lat"


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be"])
def test_c04_utf16(expect, put, columns, render, encoding):
    text = "\n".join(render(columns)) + "\n"
    expect(put(text.encode(encoding)), "accepted", "read as UTF-16", "Nothing was changed")


def test_c05_latin1_header(expect, put, columns, render):
    lines = render(columns)
    lines[0] = lines[0].replace("lat (deg)", "lat [°]").replace("lon (deg)", "lon [°]")
    data = ("\n".join(lines) + "\n").encode("latin-1")
    message, _ = expect(put(data), "repaired", "not UTF-8 at byte", "Latin-1", "lat [°]", "lon [°]")
    assert message.byte == data.index(b"\xb0")
    assert message.line == 1


def test_c06_mixed_line_ends(expect, put, columns, render):
    lines = render(columns)
    ends = ["\n", "\r\n", "\r"]
    text = "".join(line + ends[i % 3] for i, line in enumerate(lines))
    counts = [len(lines[i::3]) for i in range(3)]
    message, _ = expect(
        put(text),
        "repaired",
        "3 kinds of line end",
        f"LF {counts[0]}",
        f"CRLF {counts[1]}",
        f"CR {counts[2]}",
    )
    assert message.file == "s.csv"
    assert read_log(put(text)).channels["speed"].values.size == len(lines) - 1


@pytest.mark.parametrize("delimiter", [";", "\t", "|", " "])
@pytest.mark.parametrize("decimal", [",", "."])
def test_c07_dialects(put, columns, render, delimiter, decimal):
    columns = {name.replace(" ", ""): values for name, values in columns.items()}
    inspection = inspect_log(put(render(columns, delimiter, decimal)))
    assert [m.text for m in inspection.messages] == []
    dialect = inspection.recording.info["dialect"]
    assert {"\t": "tab", " ": "blanks"}.get(delimiter, delimiter) in dialect
    assert f"decimal sign {decimal}" in dialect
    got = inspection.recording.channels["speed"].values
    np.testing.assert_allclose(got, columns["speed(m/s)"], atol=5.1e-5)


def test_c08_decimal_comma_and_comma_separator(expect, put, columns, render):
    names = {k: v for k, v in columns.items() if k not in ("lap", "gear")}
    lines = render(names, ",", ",")
    message, _ = expect(
        put(lines), "refused", "line 2", f"{2 * len(names)} cells under {len(names)} names",
        "Commas serve as separator and as decimal sign", "semicolons",
    )  # fmt: skip
    assert message.line == 2


def test_c11_short_rows(expect, put, columns, render):
    lines = render(columns)
    for line, cells in ((812, 7), (1790, 4), (2011, 5)):
        lines[line - 1] = ",".join(lines[line - 1].split(",")[:cells])
    message, _ = expect(
        put(lines), "repaired", "lines 812, 1790, 2011", "7, 4 and 5 cells instead of 16",
        "3 rows dropped", "0.10 s",
    )  # fmt: skip
    assert message.line == 812


def test_c13_every_row_longer(expect, put, columns, render):
    lines = [render(columns)[0], *[line + ",1.0" for line in render(columns)[1:]]]
    expect(put(lines), "refused", "17 cells under 16 names in every row", "Nothing was imported")


def test_trailing_delimiter_is_harmless(put, columns, render):
    lines = [render(columns)[0], *[line + "," for line in render(columns)[1:]]]
    assert inspect_log(put(lines)).messages == ()


def test_c14_cut_last_line(expect, put, columns, render):
    lines = render(columns)
    text = "\n".join(lines)
    text = text[: len(text) - len(lines[-1]) // 2]
    message, _ = expect(put(text), "repaired", f"line {len(lines)}", "line ends", "1 row dropped")
    assert message.line == len(lines)


def test_c14_cut_inside_the_last_number(expect, put, columns, render):
    """The row still has all its cells, but its last number may have lost digits."""
    columns["rpm (1/min)"], columns["gear"] = columns["gear"], columns["rpm (1/min)"]
    columns = {k: columns[k] for k in columns if k not in ("rpm (1/min)", "gear")}
    lines = render(columns)
    text = "\n".join(lines)[:-2]
    message, _ = expect(put(text), "repaired", f"line {len(lines)}", "line ends", "1 row dropped")
    assert message.line == len(lines)


def test_last_line_without_a_line_end_is_whole(put, columns, render):
    assert inspect_log(put("\n".join(render(columns)))).messages == ()


def test_c15_zero_bytes(expect, put, columns, render):
    lines = render(columns)
    lines[600] = "\0" * 200
    lines[601] = "\0" * 120
    expect(put(lines), "repaired", "lines 601–602", "320 zero bytes", "2 rows dropped")


def test_c16_open_quote(expect, put, columns, render):
    lines = render(columns)
    lines = [lines[0] + ",note", *[line + ",fine" for line in lines[1:]]]
    lines[700] = lines[700].removesuffix("fine") + '"rain'
    message, _ = expect(put(lines), "repaired", "line 701", "a quote opens and never closes")
    assert message.line == 701
    assert read_log(put(lines)).channels["speed"].values.size == len(lines) - 1


def test_c17_name_twice(expect, put, columns, render):
    lines = render(columns)
    speed = columns["speed (m/s)"] * 1.04
    lines = [
        lines[0] + ",speed (m/s)",
        *[f"{line},{v:.4f}" for line, v in zip(lines[1:], speed, strict=True)],
    ]
    message, _ = expect(put(lines), "ask", "line 1", "columns (8 and 17)", "4.0 % on average")
    assert message.answer == "--set speed.column=#8"
    answered = inspect_log(put(lines), unit_answers={"speed.column": "#8"})
    assert answered.outcome == "accepted"


def test_c20_words_in_cells(expect, put, columns, render):
    lines = render(columns)
    at = next(i for i, name in enumerate(columns) if name.startswith("brake"))
    words = ["ERR"] * 9 + ["---"] * 7 + ["NULL"] * 5 + ["#N/A"] * 4
    for line, word in zip(range(903, 903 + 40 * len(words), 40), words, strict=True):
        cells = lines[line - 1].split(",")
        cells[at] = word
        lines[line - 1] = ",".join(cells)
    message, _ = expect(
        put(lines), "repaired", "lines 903–1863", "channel brake", "25 cells", "ERR 9", "--- 7",
        "NULL 5", "#N/A 4", "set to missing",
    )  # fmt: skip
    assert message.line == 903
    assert np.isnan(read_log(put(lines)).channels["brake_pressure"].values).sum() == 25


def test_c21_not_finite(expect, put, columns, render):
    lines = render(columns)
    for line, word in ((850, "inf"), (900, "1e400"), (950, "-1e305"), (990, "-inf")):
        cells = lines[line - 1].split(",")
        cells[7] = word
        lines[line - 1] = ",".join(cells)
    expect(put(lines), "repaired", "lines 850–990", "channel speed", "4 cells are not finite")


@pytest.mark.parametrize("has_utc", [True, False])
def test_c22_two_recordings_joined(put, columns, render, has_utc):
    if not has_utc:
        columns.pop("utc (s)")
    first = {k: v[:1400] for k, v in columns.items()}
    second = {k: v[1600:] for k, v in columns.items()}
    second["time (s)"] = second["time (s)"] - second["time (s)"][0]
    inspection = inspect_log(put([*render(first), *render(second)]))
    texts = " ".join(m.text for m in inspection.messages)
    assert inspection.outcome == "flagged"
    assert "line 1402: the header comes again" in texts
    assert "2 recordings" in texts
    assert "line 1403, channel time: falls from 69.95 to 0.00 s" in texts
    # Nothing may be timed across the seam, so a gap in the position stands there.
    gap = next(s for s in inspection.recording.marked if s.channel == "latitude")
    assert gap.to_s - gap.from_s >= 10.0
    assert gap.from_s == pytest.approx(69.95)


def test_c23_huge_cell(expect, put, columns, render):
    lines = render(columns)
    lines[976] = "x" * 2_000_000 + lines[976]
    message, _ = expect(put(lines), "repaired", "line 977", "limit 65 536", "1 row dropped")
    assert message.line == 977


def test_c24_too_many_columns(expect, put):
    lines = [",".join(f"c{i}" for i in range(2100)), *[",".join(["1.5"] * 2100)] * 5]
    expect(put(lines), "refused", "line 1", "2 100 columns (limit 2 000)")


@pytest.mark.parametrize("cell", ["1_0", "１２"])
def test_c25_odd_numbers(expect, put, columns, render, cell):
    lines = render(columns)
    cells = lines[1200].split(",")
    cells[12] = cell
    lines[1200] = ",".join(cells)
    expect(put(lines), "repaired", "line 1201", "channel throttle", cell, "set to missing")


def test_c28_empty_gpx_named_csv(expect, put):
    text = '<?xml version="1.0"?>\n<gpx version="1.1"></gpx>\n'
    expect(put(text), "refused", "line 1", "no track points", "Nothing was imported")


def test_c29_web_page(expect, put):
    text = "<!DOCTYPE html><html><head><title>Sign in</title></head></html>"
    expect(put(text), "refused", "line 1", "web page", '("Sign in")', "signed in")


def test_c30_no_time(expect, put, columns):
    kept = {k: v for k, v in columns.items() if not k.startswith(("time", "utc"))}
    message, _ = expect(put(kept), "ask", "line 1", "no column holds time", "time, t,", "utc, date")
    assert message.answer.startswith("--set time.rate=")
    answered = inspect_log(put(kept), unit_answers={"time.rate": "20"})
    assert answered.outcome == "accepted"
    assert answered.recording.channels["speed"].rate_hz == pytest.approx(20.0)


def test_c31_no_speed(expect, put, columns):
    kept = {k: v for k, v in columns.items() if not k.startswith("speed")}
    expect(put(kept), "flagged", "no speed channel", "Speed derived from positions (20 Hz)", "km/h")


def test_c32_no_position(expect, put, columns):
    kept = {k: v for k, v in columns.items() if not k.startswith(("lat", "lon"))}
    expect(put(kept), "flagged", "no position", "speed and yaw rate", "no statement on line")
    kept = {k: v for k, v in kept.items() if not k.startswith("yaw")}
    expect(put(kept), "flagged", "no position", "by distance only")


def test_c33_hostile_names_are_text(put, columns, render):
    lines = render(columns)
    lines[0] += ",<script>alert(1)</script>"
    lines = [lines[0], *[line + ",1.5" for line in lines[1:]]]
    recording = read_log(put(lines))
    assert any("script" in c.original for c in recording.others.values())


def test_all_questions_come_at_once(put, columns):
    columns["speed (m/s)"] = columns["speed (m/s)"] * 3.6
    columns["acc_x (m/s^2)"] = columns["acc_x (m/s^2)"] / 9.80665
    columns["acc_y (m/s^2)"] = columns["acc_y (m/s^2)"] / 9.80665
    inspection = inspect_log(put(columns))
    answers = {m.answer for m in inspection.messages if m.outcome == "ask"}
    assert answers == {
        "--set speed.unit=km/h",
        "--set acceleration_forward.unit=g",
        "--set acceleration_left.unit=g",
    }


def test_questions_of_reading_and_of_physics_are_raised_together(put, columns):
    from lapwright.model.repair import repair_recording

    columns["speed (m/s)"] = columns["speed (m/s)"] * 3.6
    degrees = np.floor(columns["lat (deg)"])
    columns["lat (deg)"] = 100.0 * degrees + 60.0 * (columns["lat (deg)"] - degrees)
    with pytest.raises(InputError) as raised:
        repair_recording(read_log(put(columns)))
    answers = {m.answer for m in raised.value.messages}
    assert "--set latitude.unit=ddmm.mmmm" in answers
    assert raised.value.exit_code == 3


def test_no_finding_stops_at_a_traceback(put, render, columns):
    """Hostile bytes end in a named refusal or a reading, never in another error."""
    rng = np.random.default_rng(3)
    text = ("\n".join(render(columns)[:300]) + "\n").encode()
    for _ in range(60):
        data = bytearray(text)
        for at in rng.integers(0, len(data), 200):
            data[at] = rng.integers(0, 256)
        inspection = inspect_log(put(bytes(data)))
        assert inspection.outcome == worst_outcome(inspection.messages)
