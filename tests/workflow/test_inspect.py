"""The inspection as JSON and as text for a terminal."""

from __future__ import annotations

import json

import numpy as np
import pytest

from lapwright.demo import make_session
from lapwright.workflow.inspect import LapRow, inspect_log
from lapwright.workflow.lap_rows import find_lap_rows
from lapwright.workflow.log_options import LogOptions
from lapwright.workflow.session import build_session, read_recordings
from lapwright.workflow.show_inspection import render_document, render_text


@pytest.fixture
def log(tmp_path):
    """An invented log on a circle of 150 m radius, with one lap time left out."""
    t = np.arange(0.0, 60.0, 0.05)
    speed = 30.0 + 6.0 * np.sin(0.4 * t)
    angle = np.cumsum(speed) * 0.05 / 150.0
    x, y = 150.0 * np.sin(angle), -150.0 * np.cos(angle)
    rows = [
        f"{a:.2f},{b:.4f},{c:.4f},{3.6 * d:.4f},{30 + 20 * np.sin(a):.3f}"
        for a, b, c, d in zip(t, x, y, speed, strict=True)
    ]
    path = tmp_path / "s.csv"
    path.write_text("\n".join(["time (s),x (m),y (m),speed (km/h),throttle (%)", *rows]))
    return path


def test_document_has_the_fields_that_others_read(log):
    laps = [LapRow(1, 31.25, True), LapRow(2, None, False, "recording ends")]
    document = json.loads(json.dumps(render_document(inspect_log(log, laps=laps))))
    assert document["schema"] == "lapwright.inspection/1"
    assert document["outcome"] == "accepted"
    assert document["messages"] == []
    assert document["laps"] == [
        {"number": 1, "time_s": 31.25, "valid": True, "why_not": None},
        {"number": 2, "time_s": None, "valid": False, "why_not": "recording ends"},
    ]
    speed = next(c for c in document["channels"] if c["name"] == "speed")
    assert speed == {
        "name": "speed", "unit": "m/s", "original": "speed", "original_unit": "km/h",
        "rate_hz": 20.0, "how_known": "header", "delay_s": 0.0,
    }  # fmt: skip
    assert {m["result"] for m in document["missing"]} >= {"gear and down-changes"}


def test_message_places_are_machine_readable(log):
    lines = log.read_text().splitlines()
    lines[500] = lines[500].rsplit(",", 2)[0]
    cells = lines[600].split(",")
    lines[600] = ",".join([*cells[:4], "ERR"])
    log.write_text("\n".join(lines))
    document = render_document(inspect_log(log))
    assert document["outcome"] == "repaired"
    short, word = document["messages"]
    assert short["line"] == 501
    assert (word["line"], word["channel"]) == (601, "throttle")
    assert "answer" not in short
    assert all("outcome" in m for m in document["messages"])


def test_questions_carry_their_answer(log):
    log.write_text(log.read_text().replace("speed (km/h)", "speed (m/s)"))
    inspection = inspect_log(log)
    document = render_document(inspection)
    assert document["outcome"] == "ask"
    assert document["messages"][0]["answer"] == "--set speed.unit=km/h"
    text = render_text(inspection)
    assert "Questions" in text
    assert "--set speed.unit=km/h" in text


def test_refused_file_has_a_document(tmp_path):
    path = tmp_path / "s.csv"
    path.write_bytes(b"")
    document = render_document(inspect_log(path))
    assert (document["outcome"], document["channels"]) == ("refused", [])
    assert document["messages"][0]["byte"] == 0
    missing = render_document(inspect_log(tmp_path / "none.csv"))
    assert missing["outcome"] == "refused"
    assert "cannot be opened" in missing["messages"][0]["text"]


def test_text_says_channels_and_what_is_missing(log):
    text = render_text(inspect_log(log, laps=[LapRow(1, 31.25, True)]))
    assert text.startswith("s.csv: accepted\n60.0 s, 1200 samples")
    assert "speed [km/h]" in text
    assert "from the header" in text
    assert "Missing\n" in text
    assert "31.250 s" in text


def test_of_very_many_laps_the_quickest_and_those_set_aside_are_listed(log):
    laps = [LapRow(i, 90.0 + (i * 37) % 400 / 100, i % 50 != 0) for i in range(1, 401)]
    text = render_text(inspect_log(log, laps=laps))
    block = text[text.index("Laps\n") : text.index("Missing")].splitlines()
    assert block[1] == "  400 laps, 8 of them set aside; the quickest:"
    assert block[12] == "  set aside:"
    shown = [float(line.split()[1]) for line in block[2:12]]
    kept = sorted(row.time_s for row in laps if row.valid and row.time_s is not None)
    assert shown == [round(t, 3) for t in kept[:10]]
    assert sum("set aside" in line for line in block[13:]) == 8


def test_what_looks_for_laps_is_loaded_while_a_large_file_is_read(log, monkeypatch):
    loaded = []
    monkeypatch.setattr("lapwright.workflow.inspect.import_module", loaded.append)
    small = inspect_log(log)
    assert loaded == []
    monkeypatch.setattr("lapwright.workflow.inspect.LARGE", log.stat().st_size - 1)
    large = inspect_log(log)
    assert loaded == ["lapwright.workflow.lap_rows"]
    assert render_document(large) == render_document(small)


def test_laps_are_timed_as_a_guide_times_them(tmp_path):
    """The inspection works out a coarser motion; its times are the same to 0.2 ms."""
    log = make_session("coach", 2, 5, costs=False).write(tmp_path).log
    rows = find_lap_rows(inspect_log(log)).laps
    laps = build_session(read_recordings([log], LogOptions())).laps
    assert [row.number for row in rows] == [lap.number for lap in laps]
    assert [row.valid for row in rows] == [lap.used for lap in laps]
    timed = [(row.time_s, lap.time_s) for row, lap in zip(rows, laps, strict=True) if lap.time_s]
    assert len(timed) >= 2
    assert all(abs(a - b) < 2e-4 for a, b in timed), timed
