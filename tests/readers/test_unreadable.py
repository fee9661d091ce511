"""Columns without a number, or with few: nothing is left out in silence, in any format.

The logs are invented; C20 and C21 are numbers of the project's list of faults.
"""

from __future__ import annotations

import datetime

import numpy as np
import polars as pl
import pytest

from lapwright.readers import read_log
from lapwright.readers.mapping import ChannelMapping, ChannelRule
from lapwright.workflow.inspect import inspect_log


def with_text(columns, render, start, make):
    """Lines in which one column, by the beginning of its name, holds texts."""
    at = next(i for i, name in enumerate(columns) if name.startswith(start))
    lines = [line.split(",") for line in render(columns)]
    for row, cells in enumerate(lines[1:]):
        cells[at] = make(row, cells[at])
    return [",".join(cells) for cells in lines]


@pytest.mark.parametrize("start", ["lat", "lon"])
def test_place_in_degrees_with_letters(expect, columns, put, render, start):
    lines = with_text(columns, render, start, lambda _row, cell: f"{cell}N")
    message, inspection = expect(
        put(lines), "flagged", f"s.csv, line 1, channel {start}: no cell holds a number (",
        'N" ', "Not used", "Export it in decimal degrees",
    )  # fmt: skip
    assert message.channel == start
    assert {"latitude", "longitude"} - set(inspection.recording.channels)


def test_place_that_is_empty_throughout(expect, columns, put, render):
    lines = with_text(columns, render, "lon", lambda _row, _cell: "")
    expect(put(lines), "flagged", "s.csv, line 1, channel lon: every cell is empty. Not used")
    both = [line.replace(",46.", ",N 46.") for line in lines]
    _, inspection = expect(put(both), "flagged", "channel lat: no cell holds a number (N 46.")
    assert sum("Not used" in m.text for m in inspection.messages) == 2


def test_column_that_matters_less_is_said_without_a_verdict(expect, columns, put, render):
    lines = with_text(columns, render, "gear", lambda _row, _cell: "")
    expect(put(lines), "accepted", "channel gear: every cell is empty. Not used")


def test_second_column_of_a_channel_makes_up_for_an_empty_one(columns, put, render):
    lines = with_text(columns, render, "speed", lambda _row, _cell: "")
    speed = [f"{v:.4f}" for v in columns["speed (m/s)"]]
    lines = [f"{line},{v}" for line, v in zip(lines, ["gps speed (m/s)", *speed], strict=True)]
    inspection = inspect_log(put(lines))
    assert [m.text for m in inspection.messages] == []
    assert inspection.recording.channels["speed"].original == "gps speed"


def test_c20_words_in_most_cells_are_said_too(expect, columns, put, render):
    lines = with_text(columns, render, "brake", lambda row, cell: cell if row % 3 == 0 else "---")
    n = sum("---" in line for line in lines)
    words = f"{n:,} cells hold words (--- {n})".replace(",", " ")
    expect(put(lines), "repaired", "channel brake", words, "set to missing")


def test_mapped_column_without_a_number(columns, put, render):
    lines = [f"{line},{'note' if i == 0 else 'dry'}" for i, line in enumerate(render(columns))]
    mapping = ChannelMapping({"throttle": ChannelRule(column="note")})
    inspection = inspect_log(put(lines), mapping=mapping)
    texts = [m.text for m in inspection.messages if m.outcome == "flagged"]
    assert texts[0].startswith("s.csv, line 1, channel note: no cell holds a number (dry ")


def test_text_without_a_channel_is_no_fault(columns, put, render):
    lines = [f"{line},{'note' if i == 0 else 'dry'}" for i, line in enumerate(render(columns))]
    assert inspect_log(put(lines)).messages == ()


def test_c20_and_c21_in_parquet(expect, columns, tmp_path):
    path = tmp_path / "s.parquet"
    brake = [f"{v:.3f}" for v in columns["brake (bar)"]]
    brake[99] = brake[149] = "ERR"
    speed = columns["speed (m/s)"].copy()
    speed[[200, 300]] = np.inf, -np.inf
    frame = pl.DataFrame(columns | {"brake (bar)": brake, "speed (m/s)": speed})
    frame.write_parquet(path)
    expect(path, "repaired", "s.parquet, rows 100–150, channel brake: 2 cells hold words (ERR 2)")
    _, inspection = expect(
        path, "repaired", "s.parquet, rows 201–301, channel speed: 2 cells are not finite"
    )
    assert np.isfinite(inspection.recording.channels["speed"].values).sum() >= speed.size - 2
    assert np.isnan(read_log(path).channels["brake_pressure"].values).sum() == 2


@pytest.mark.parametrize("kind", ["duration", "time of day", "date and time"])
def test_types_that_are_time_need_no_unit(columns, tmp_path, kind):
    """What the file's own type says counts, whatever unit the name gives."""
    t = columns.pop("time (s)")
    columns.pop("utc (s)")
    begin = datetime.datetime(2026, 5, 9, 10, tzinfo=datetime.UTC)
    moments = [begin + datetime.timedelta(seconds=round(s, 3)) for s in t.tolist()]
    made = {
        "duration": pl.Series([m - begin for m in moments], dtype=pl.Duration("ms")),
        "time of day": pl.Series([m.time() for m in moments], dtype=pl.Time),
        "date and time": pl.Series(moments, dtype=pl.Datetime("ns", "UTC")),
    }
    path = tmp_path / "s.parquet"
    pl.DataFrame(columns).with_columns(made[kind].alias("time [ms]")).write_parquet(path)
    inspection = inspect_log(path)
    assert [m.text for m in inspection.messages] == []
    got = inspection.recording.channels["speed"].time
    np.testing.assert_allclose(got - got[0], t - t[0], atol=1e-3)


def test_words_in_a_track_are_said(expect, columns, put):
    rows = zip(columns["utc (s)"][:900], columns["lat (deg)"], columns["lon (deg)"], strict=False)
    points = []
    for i, (utc, lat, lon) in enumerate(rows):
        stamp = datetime.datetime.fromtimestamp(utc, datetime.UTC).isoformat()
        speed = "ERR" if i in (10, 20) else f"{columns['speed (m/s)'][i]:.3f}"
        points.append(
            f'<trkpt lat="{lat:.8f}" lon="{lon:.8f}"><time>{stamp}</time>'
            f"<speed>{speed}</speed></trkpt>"
        )
    text = ["<gpx><trk><trkseg>", *points, "</trkseg></trk></gpx>"]
    message, _ = expect(
        put(text, "s.gpx"), "repaired", "s.gpx, lines 12–22, channel speed: 2 cells hold words"
    )
    assert message.line == 12


def test_what_parquet_holds_beside_numbers_is_named(expect, columns, tmp_path):
    path = tmp_path / "s.parquet"
    n = columns["gear"].size
    gear = pl.Series([f"{g:.0f}" for g in columns["gear"]], dtype=pl.Categorical)
    frame = pl.DataFrame(columns | {"gear": gear})
    frame = frame.with_columns(raw=pl.Series([b"x"] * n), seats=pl.Series([[1, 2]] * n))
    frame.write_parquet(path)
    _, inspection = expect(
        path, "accepted", "s.parquet: 2 columns hold no numbers over time (raw, seats). Left out"
    )
    np.testing.assert_array_equal(inspection.recording.channels["gear"].values, columns["gear"])
