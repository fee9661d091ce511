"""Reviews of simulated pupils, whose habits are known, against a guide.

The truth is planted: the simulator shares no code with the analysis. The guide is the
coach's of the invented scenario, on its survey.
"""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from html import unescape
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import polars
import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

sys.path.insert(0, str(Path(__file__).parent))


import planted_pupils as planted

from lapwright.demo import DRIVERS, Day, Habit, make_session
from lapwright.demo.scenario import coach_session
from lapwright.errors import InputError
from lapwright.guide.review_records import Reviewed, compose_alike
from lapwright.guide.unit_system import choose_unit_system
from lapwright.model.recording import Recording
from lapwright.publish.json import render_json
from lapwright.publish.pdf import render_review_pdf
from lapwright.publish.review_page import render_review
from lapwright.workflow.guide_directory import GuideDirectory, read_guide
from lapwright.workflow.hand_over import render_review_files
from lapwright.workflow.log_options import LogOptions
from lapwright.workflow.outputs import write_outputs
from lapwright.workflow.review import compose_review, review_drivers
from lapwright.workflow.session import read_recordings

Command = Callable[..., Any]
HOSTILE = '<script>alert(1)</script> =1+1 --> "A" \u202eB'


@dataclass(frozen=True)
class Held:
    """A session held against a guide: what reviews of it are composed from."""

    base: GuideDirectory
    recordings: Sequence[Recording]
    drivers: Sequence[Reviewed]

    def against(self, *earlier: Any) -> dict[str, Any]:
        """Compose the session's review against earlier ones, oldest first."""
        units = choose_unit_system("metric")
        return compose_review(self.drivers, self.base, units, earlier, self.recordings)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, command: Command) -> dict[str, Any]:
    """Make a coach's guide, a pupil with habits, and the same pupil who left them off."""
    root = tmp_path_factory.mktemp("review")
    coach = coach_session().write(root / "coach")
    guide = root / "guide"
    ran = command("guide", coach.log, "--circuit", coach.survey, "--start", "0,0", "--out", guide)
    assert ran.code == 0, ran.err
    driver = DRIVERS["pupil 1"]  # early on the brake in 1, throttle in steps in 11
    days = (Day(grip=0.99, grip_spread=0.004), Day(grip=0.96, grip_spread=0.004))
    pupil = planted.make_pupil(driver, replace(driver, habits=()), days, (101, 301))
    return {
        "root": root, "guide": guide, "pupil": pupil,
        "log": pupil.first.write(root / "first").log,
        "told": pupil.second.write(root / "told").log,
    }  # fmt: skip


@pytest.fixture(scope="module")
def held(place: dict[str, Any]) -> Held:
    """Hold the pupil's second laps against the guide, once for all tests."""
    base = read_guide(place["guide"])
    recordings = read_recordings([place["told"]], LogOptions())
    return Held(base, recordings, review_drivers(recordings, base))


@pytest.fixture(scope="module")
def reviewed(place: dict[str, Any], held: Held, command: Command) -> dict[str, Any]:
    """Review the pupil twice: with his habits, then after he did what he was told."""
    first, second = place["root"] / "one", place["root"] / "two"
    ran = command("review", place["log"], "--guide", place["guide"], "--out", first)
    assert ran.code == 0, ran.err
    one = json.loads((first / "review.json").read_text("utf-8"))
    write_outputs(second, render_review_files(held.against(one))[0])
    two = json.loads((second / "review.json").read_text("utf-8"))
    return {"one": one, "two": two, "page": (second / "review.html").read_text("utf-8")}


def review_since(
    earlier: dict[str, Any], place: dict[str, Any], command: Command, folder: Path
) -> Any:
    """Review the pupil's second laps against an earlier review that stands in a folder."""
    (folder / "review.json").write_text(json.dumps(earlier), "utf-8")
    return command(
        "review", place["told"], "--guide", place["guide"], "--since", folder,
        "--out", folder / "out",
    )  # fmt: skip


def test_planted_habits_are_found_against_the_guides_lap(reviewed: dict[str, Any]):
    (pupil,) = reviewed["one"]["drivers"]
    habits = {
        (h["corner"], h["cause"]): h["share_of_laps"]
        for h in pupil["habits"]
        if h["against"] == "guide_lap"
    }
    assert habits[("1", "early_braking")] > 0.8
    assert habits[("11", "stepped_throttle")] > 0.8
    work = {(i["corner"], i["cause"]) for i in pupil["order_of_work"]}
    assert {("1", "early_braking"), ("11", "stepped_throttle")} <= work


def test_goals_that_ask_for_later_faster_or_flat_tell_their_room(
    reviewed: dict[str, Any], place: dict[str, Any]
):
    asks = {"early_braking": "later", "slow_minimum": "faster", "lift": "flat"}
    (pupil,) = reviewed["one"]["drivers"]
    asked = [item for item in pupil["order_of_work"] if item["cause"] in asks]
    assert ("1", "early_braking") in {(i["corner"], i["cause"]) for i in asked}
    for item in asked:
        assert {row["change"] for row in item["room"]} == {asks[item["cause"]]}
        assert [row["missed_by_m"] for row in item["room"]] == [5.0, 10.0]
        assert "issed by 5" in item["room_text"] or "late by 5" in item["room_text"]
        assert f"{item['room'][0]['laps']} laps showed" in item["room_text"]
    others = [item for item in pupil["order_of_work"] if item["cause"] not in asks]
    assert all(not item["room"] and item["room_text"] is None for item in others)
    page = unescape((place["root"] / "one" / "review.html").read_text("utf-8"))
    assert all(item["room_text"] in page for item in asked)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_the_page(
    place: dict[str, Any], reviewed: dict[str, Any], browser: Browser, root: Path, scheme: Any
):
    axe = root / "web" / "node_modules" / "axe-core" / "axe.min.js"
    context = browser.new_context(color_scheme=scheme, viewport={"width": 390, "height": 844})
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    assert reviewed["page"]
    page.goto((place["root"] / "two" / "review.html").as_uri())
    assert len(asked) == 1  # the page itself
    page.evaluate(f"() => {{ {axe.read_text('utf-8')} }}")
    found = page.evaluate("async () => (await axe.run()).violations.map(v => v.id)")
    wide = page.evaluate("document.documentElement.scrollWidth")
    context.close()
    assert found == []
    assert wide <= 390


def test_rows_and_straights_add_up_to_the_difference(reviewed: dict[str, Any]):
    accounts = [a for d in reviewed["one"]["drivers"] for a in d["ledger"]]
    assert {a["against"] for a in accounts} == {"own_best", "guide_lap", "possible_on_line"}
    for account in accounts:
        total = sum(r["cost_s"] for r in account["rows"]) + account["straight_s"]
        assert abs(total - account["difference_s"]) < 0.001
    for row in reviewed["one"]["sheet"]["rows"]:
        total = sum(c["cost_s"] for c in row["cells"]) + row["straight_s"]
        assert abs(total - row["difference_s"]) < 0.001


def test_the_difference_is_that_of_the_lap_times(reviewed: dict[str, Any]):
    (pupil,) = reviewed["one"]["drivers"]
    times = {x["id"]: x["time_s"] for x in pupil["laps"]}
    for account in pupil["ledger"]:
        if account["against"] == "guide_lap":
            apart = times[account["lap"]] - reviewed["one"]["guide"]["time_s"]
            assert abs(account["difference_s"] - apart) < 0.002


def test_goals_of_habits_left_off_are_called_met(reviewed: dict[str, Any]):
    (since,) = reviewed["two"]["since"]
    goals = {(g["corner"], g["cause"]): g for g in since["goals"]}
    for key in (("1", "early_braking"), ("11", "stepped_throttle")):
        assert goals[key]["met"] is True, goals[key]
    others = [g for k, g in goals.items() if k[0] not in ("1", "11")]
    # by six laps' scatter about one call in twelve is wrong (bench_review.py), but not a sure one
    assert not [g for g in others if g["met"] and g["sure"]], others
    assert sum(g["met"] is False for g in others) > len(others) / 2, others


def test_the_other_days_grip_is_found(reviewed: dict[str, Any], place: dict[str, Any]):
    (since,) = reviewed["two"]["since"]
    assert since["day"]["grip"] == pytest.approx(place["pupil"].grip, abs=0.015)  # 0.970
    assert since["day"]["cost_s"] > 0.5  # all of it is of the day, none of the pupil


def test_what_came_is_what_the_same_laps_would_have_gained_on_the_first_day(
    reviewed: dict[str, Any], place: dict[str, Any]
):
    (pupil,), (since,) = reviewed["one"]["drivers"], reviewed["two"]["since"]
    clock = place["pupil"].gained_s
    spans = {s["corner"]: (s["start_m"], s["end_m"]) for s in pupil["stretches"]}
    for goal in since["goals"]:
        (true,) = np.diff(np.interp(spans[goal["corner"]], np.arange(clock.size), clock))
        allowed = max(0.03, 0.25 * abs(true)) + goal["realised_error_s"]
        assert abs(goal["realised_s"] - true) <= allowed, (goal, true)
        if goal["corner"] in ("1", "11"):
            assert goal["realised_s"] > 0.05


def test_the_record_tells_promise_and_proof_of_every_goal(reviewed: dict[str, Any]):
    (since,) = reviewed["two"]["since"]
    record = reviewed["two"]["record"]
    assert [g["corner"] for g in record["goals"]] == [g["corner"] for g in since["goals"]]
    assert record["promised_s"] == pytest.approx(sum(g["promised_s"] for g in since["goals"]))
    assert record["text"][0] in unescape(reviewed["page"])


def test_a_log_is_not_held_against_the_goals_that_it_set_itself(
    reviewed: dict[str, Any], held: Held
):
    document = json.loads(render_json(held.against(reviewed["one"], reviewed["two"])))
    assert document["since"] == reviewed["two"]["since"]  # the goals of the first, once more
    assert document["record"] == reviewed["two"]["record"]  # and counted once


def test_a_third_session_is_held_against_the_last_goals_and_the_record_is_of_all(
    place: dict[str, Any], reviewed: dict[str, Any], command: Command, tmp_path: Path
):
    again = make_session(
        replace(DRIVERS["pupil 1"], habits=()), 3, 501, sensors=planted.SENSORS, costs=False
    )
    log = again.write(tmp_path / "third").log
    since = [x for name in ("one", "two") for x in ("--since", place["root"] / name)]
    ran = command("review", log, "--guide", place["guide"], *since, "--out", tmp_path)
    assert ran.code == 0, ran.err
    document = json.loads((tmp_path / "review.json").read_text("utf-8"))
    (pupil,), (now,) = reviewed["two"]["drivers"], document["since"]
    goals = [(i["corner"], i["cause"]) for i in pupil["order_of_work"]]
    assert [(g["corner"], g["cause"]) for g in now["goals"]] == goals != []
    old, record = reviewed["two"]["record"], document["record"]
    assert record["goals"][: len(old["goals"])] == old["goals"]
    assert len(record["goals"]) == len(old["goals"]) + len(goals)
    logs = [document["made_by"]["inputs"], reviewed["two"]["made_by"]["inputs"]]
    assert {g["log"] for g in record["goals"]} == {i["sha256"] for own in logs for i in own}
    assert record["logs"] == 2
    told = sum(g["promised_s"] for g in (*old["goals"], *now["goals"]))
    assert record["promised_s"] == pytest.approx(told)
    assert record["text"][0] in unescape((tmp_path / "review.html").read_text("utf-8"))


def test_goals_are_worded_by_what_was_shown(reviewed: dict[str, Any]):
    (pupil,) = reviewed["one"]["drivers"]
    items = {i["corner"]: i for i in pupil["order_of_work"]}
    early = items["1"]
    assert " repeats with the place " in early["reference"]
    assert early["reference"].endswith("before the place of its lap.")
    assert early["goal"] < early["shown"]  # a step towards it, and no further
    assert items["11"]["shown_text"] is None  # held by its cost: nothing is "shown: 0.00 s"
    assert "Maren Holt" in items["11"]["evidence"]


def test_a_difference_of_all_in_one_corner_is_said_and_one_driver_s_is_not(place: dict[str, Any]):
    base = replace(read_guide(place["guide"]), car=None)  # the sheet is against the guide's lap
    habits = (Habit("early_braking", 3, 14.0),)

    def read(share: float, habits: tuple[Habit, ...]) -> Recording:
        driver = replace(DRIVERS["coach"], name=f"{share}", share=share, references=())
        session = make_session(
            replace(driver, habits=habits), 4, 500 + int(1000 * share), sensors=planted.SENSORS,
            costs=False,
        )  # fmt: skip
        log = session.write(place["root"] / f"{share} {len(habits)}").log
        return read_recordings([log], LogOptions())[0]

    logs = [read(share, habits) for share in (0.96, 0.97, 0.98)]
    early = Held(base, logs, review_drivers(logs, base))
    free = review_drivers([read(share, ()) for share in (0.965, 0.975)], base)
    document = early.against()
    said = {(a["corner"], a["cause"]): a for a in document["alike"]}
    assert said["3", "early_braking"]["drivers"] == 3
    assert "the guide may be wrong here" in said["3", "early_braking"]["text"]
    assert said["3", "early_braking"]["text"] in unescape(render_review(document).decode())
    sheet = document["sheet"]
    assert [r["driver"] for r in sheet["rows"]] == ["0.96", "0.97", "0.98"]
    at = sheet["corners"].index("3")
    for row in sheet["rows"]:
        assert [c["corner"] for c in row["cells"]] == sheet["corners"]
        assert row["cells"][at]["cause"] == "early_braking"
        assert row["cells"][at] == max(row["cells"], key=lambda c: c["beyond_usual_s"])
    alone = compose_alike([early.drivers[0], *free], base.circuit)
    assert not [a for a in alone if a["corner"] == "3"]


def test_the_pdf_is_tagged_has_bookmarks_and_comes_the_same_again(
    reviewed: dict[str, Any], place: dict[str, Any]
):
    data = (place["root"] / "two" / "review.pdf").read_bytes()
    reader = PdfReader(io.BytesIO(data))
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    marks = [x.title for x in reader.outline if not isinstance(x, list)]
    assert marks[0] == "Drivers and corners"
    assert {"Anselm Roe", "This guide's own record", "Cautions"} <= set(marks)
    text = " ".join(page.extract_text() for page in reader.pages)
    (pupil,) = reviewed["two"]["drivers"]
    for item in pupil["order_of_work"]:
        assert item["what"] in text
    assert render_review_pdf(reviewed["two"]) == data


def test_an_earlier_review_of_another_guide_is_refused(
    place: dict[str, Any], reviewed: dict[str, Any], command: Command, tmp_path: Path
):
    earlier = json.loads(json.dumps(reviewed["one"]))
    earlier["guide"]["time_s"] += 1.0
    ran = review_since(earlier, place, command, tmp_path)
    assert ran.code == 3, ran.err
    assert "another guide" in ran.err


def test_cautions_stand_in_both_outputs(reviewed: dict[str, Any], place: dict[str, Any]):
    guide = json.loads((place["guide"] / "guide.json").read_text("utf-8"))
    assert reviewed["two"]["cautions"] == guide["cautions"] != []
    assert "For closed circuits only." in reviewed["page"]
    assert "http" not in reviewed["page"].replace("http-equiv", "")


def test_a_log_of_another_circuit_is_refused(
    place: dict[str, Any], command: Command, invented: ModuleType, tmp_path: Path
):
    log = invented.write_log(tmp_path / "other.csv", invented.drive(0.0, 15.0))
    out = tmp_path / "out"
    ran = command("review", log, "--guide", place["guide"], "--out", out)
    assert ran.code == 3, ran.err
    assert "other.csv" in ran.err
    assert "circuit" in ran.err
    assert "Traceback" not in ran.err
    assert not out.exists()


@pytest.mark.parametrize("name", ["guide.json", "circuit.json", "laps.parquet"])
def test_a_garbled_guide_is_refused_by_the_files_name(
    place: dict[str, Any], command: Command, tmp_path: Path, name: str
):
    for file in place["guide"].iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    (tmp_path / name).write_bytes(b"[" * 50 + b"\x00\xff")
    ran = command("review", place["log"], "--guide", tmp_path, "--out", tmp_path / "out")
    assert ran.code == 3, ran.err
    assert name in ran.err
    assert not (tmp_path / "out").exists()


def test_laps_of_a_guide_are_never_unpacked_in_this_process(
    place: dict[str, Any], monkeypatch: pytest.MonkeyPatch
):
    def refuse(*_: Any, **__: Any) -> None:
        raise AssertionError("a damaged file would end this process")

    monkeypatch.setattr(polars, "read_parquet", refuse)
    assert read_guide(place["guide"]).laps


def test_damaged_laps_of_a_guide_are_refused_or_read(
    place: dict[str, Any], command: Command, tmp_path: Path
):
    for file in place["guide"].iterdir():
        (tmp_path / file.name).write_bytes(file.read_bytes())
    data = (place["guide"] / "laps.parquet").read_bytes()
    (tmp_path / "laps.parquet").write_bytes(data[: len(data) // 2] + data[-2000:])
    ran = command("review", place["log"], "--guide", tmp_path, "--out", tmp_path / "out")
    assert ran.code == 3, ran.err
    assert "laps.parquet" in ran.err
    assert "Traceback" not in ran.err


def test_hostile_names_are_text(place: dict[str, Any], command: Command, tmp_path: Path):
    text = place["log"].read_text("utf-8")
    assert "Anselm Roe" in text
    log = tmp_path / "hostile.csv"
    quoted = HOSTILE.replace('"', '""')
    text = text[: text.rindex("\n", 0, len(text) // 2) + 1]  # three whole laps will do
    log.write_text(text.replace("Anselm Roe", f'"{quoted}"'), encoding="utf-8")
    ran = command("review", log, "--guide", place["guide"], "--out", tmp_path / "out")
    assert ran.code == 0, ran.err
    page = (tmp_path / "out" / "review.html").read_text("utf-8")
    assert "<script" not in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page
    document = json.loads((tmp_path / "out" / "review.json").read_text("utf-8"))
    assert document["drivers"][0]["name"] == HOSTILE
    paper = PdfReader(tmp_path / "out" / "review.pdf")
    assert "<script>alert(1)</script>" in "".join(p.extract_text() for p in paper.pages)


GARBLED = [
    ("stretches", [{"corner": "1"}]),
    ("stretches", [{"corner": "1", "start_m": "far"}]),
    ("pace", {"speed_mps": [40.0], "flat": [True]}),
    ("pace", 7),
]


@pytest.mark.parametrize(("key", "value"), GARBLED)
def test_a_garbled_earlier_review_is_refused(
    reviewed: dict[str, Any], held: Held, key: str, value: Any
):
    earlier = json.loads(json.dumps(reviewed["one"]))
    earlier["drivers"][0][key] = value
    with pytest.raises(InputError, match="garbled") as refused:
        held.against(earlier)
    assert "review.json" in str(refused.value)
