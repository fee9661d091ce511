"""The command line: exit codes, what goes where, files whole or not at all. Invented data."""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from concurrent.futures import Future
from functools import partial
from pathlib import Path
from types import ModuleType, SimpleNamespace
from typing import Any

import numpy as np
import pytest

# no installed package: it lies beside this test
sys.path.insert(0, str(Path(__file__).parent))
from true_kerbs import find_depths

from lapwright import cli
from lapwright.demo import Paths, Session, Written, coach_session
from lapwright.demo.scenario import ON_KERBS
from lapwright.workflow import demo, outputs, session

LAP = 2 * np.pi
FILES = [
    "chapters.vtt", "circuit.json", "guide.html", "guide.json", "guide.pdf", "guide.vtt",
    "laps.parquet",
]  # fmt: skip
Command = Callable[..., Any]


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, invented: ModuleType) -> dict[str, Path]:
    """Logs of three and two laps, a log with two wrong channels, and a survey."""
    folder = tmp_path_factory.mktemp("invented")
    driven = invented.drive(-0.8, 3 * LAP + 1)
    log = invented.write_log(folder / "s.csv", driven)
    second = invented.write_log(folder / "t.csv", invented.drive(-0.6, 2 * LAP + 1, seed=5))
    # speed in m/s under km/h, and a yaw rate of the other sign
    head, body = log.read_text("utf-8").split("(bar)\n")
    rows = np.array([line.split(",") for line in body.splitlines()], float)
    rows[:, 3] /= 3.6
    rows[:, 4] *= -1
    text = "\n".join(",".join(f"{v:.4f}" for v in row) for row in rows)
    asks = folder / "asks.csv"
    asks.write_text(f"{head}(bar)\n{text}\n", encoding="utf-8")
    survey = invented.write_survey(folder / "survey.csv")
    return {"folder": folder, "log": log, "second": second, "asks": asks, "survey": survey}


@pytest.fixture(scope="module")
def guide(place: dict[str, Path], command: Command, invented: ModuleType) -> Command:
    """Run ``guide`` on the invented log with its survey and start line."""

    def run(*arguments: object, logs: tuple[Path, ...] = (), out: Path) -> Any:
        start = invented.start_option() if "--start" not in arguments else []
        return command(
            "guide", *(logs or (place["log"],)), "--circuit", place["survey"], *start,
            *arguments, "--out", out,
        )  # fmt: skip

    return run


def laps_of(out: Path) -> list[dict[str, Any]]:
    laps: list[dict[str, Any]] = json.loads((out / "guide.json").read_text("utf-8"))["laps"]
    return laps


def check_refusal(ran: Any, code: int, *words: str) -> None:
    """Check that a command failed with sentences, and with nothing on standard output."""
    assert ran.code == code, ran.err
    assert ran.out == ""
    assert "Traceback" not in ran.err
    for word in words:
        assert word in ran.err


def sentences(ran: Any) -> list[str]:
    """List what was said besides progress."""
    return [line for line in ran.err.splitlines() if not line.endswith("…")]


def test_guide_writes_its_files_and_says_where(guide: Command, tmp_path: Path):
    ran = guide(out=tmp_path / "g")
    assert ran.code == 0
    assert sorted(p.name for p in (tmp_path / "g").iterdir()) == FILES
    assert str(tmp_path / "g" / "guide.html") in ran.out.splitlines()[-1]
    assert len([line for line in ran.out.splitlines() if line]) <= 11
    assert "reading s.csv …" in ran.err
    assert "…" not in ran.out


def test_road_that_was_not_surveyed_has_no_room_and_says_so(
    command: Command, place: dict[str, Path], tmp_path: Path
):
    assert command("guide", place["log"], "--out", tmp_path).code == 0
    corners = json.loads((tmp_path / "guide.json").read_text("utf-8"))["corners"]
    assert corners
    assert {c["room_why_empty"] for c in corners} == {"the edges were not surveyed"}


def test_lap_to_follow_is_chosen_by_its_id(guide: Command, tmp_path: Path):
    assert guide("--lap", "2", out=tmp_path).code == 0
    check_refusal(guide("--lap", "9", out=tmp_path / "x"), 2, "--lap: lap 9", "1, 2, 3")
    check_refusal(guide("--lap", "0", out=tmp_path / "x"), 2, "--lap: lap 0")
    assert not (tmp_path / "x").exists()


def test_laps_are_left_out_as_asked(guide: Command, tmp_path: Path):
    assert guide("--leave-out", "1, 3", out=tmp_path).code == 0
    used = {lap["id"]: lap["used"] for lap in laps_of(tmp_path)}
    assert used == {"0": False, "1": False, "2": True, "3": False, "4": False}
    why = {lap["id"]: lap["why_not"] for lap in laps_of(tmp_path)}
    assert "left out" in why["1"]
    check_refusal(guide("--leave-out", "7", out=tmp_path / "x"), 2, "--leave-out: no lap 7")


def test_leaving_out_every_lap_is_said(guide: Command, tmp_path: Path):
    check_refusal(guide("--leave-out", "1,2,3", out=tmp_path / "x"), 3, "no lap counts")
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    "point", ["here", "1", "1,2,3", "", "9000,0", "nan,0", "0,inf", "1e308,1e308"]
)
def test_start_that_is_no_point_near_the_road_is_wrong_use(
    point: str, guide: Command, tmp_path: Path
):
    check_refusal(guide("--start", point, out=tmp_path / "x"), 2, "--start")
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    "arguments",
    [("nonsense",), ("guide",), ("guide", "a.csv", "--what"), ("inspect",), ("survey", "a.csv"),
     ("inspect", "a.csv", "--set", "speed"), ("inspect", "a.csv", "--set", "what.unit=m")],
)  # fmt: skip
def test_wrong_use_is_one_sentence_with_code_two(
    arguments: tuple[str, ...], command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.csv").write_text("time (s),x (m),y (m)\n0,0,0\n1,1,1\n", encoding="utf-8")
    ran = command(*arguments)
    check_refusal(ran, 2)
    assert len(sentences(ran)) == 1


def test_units_that_do_not_exist_are_wrong_use(guide: Command, tmp_path: Path):
    check_refusal(guide("--units", "cubits", out=tmp_path / "x"), 2, "cubits")


def test_help_ends_well(command: Command):
    for arguments in (("--help",), ("guide", "--help")):
        ran = command(*arguments)
        assert ran.code == 0
        assert "guide" in ran.out


HOSTILE: dict[str, bytes] = {
    "empty": b"",
    "zeros": bytes(4096),
    "random": np.random.default_rng(3).bytes(20_000),
    "prose": b"Dear coach,\nthe logger is broken.\n",
    "header only": b"time (s),x (m),y (m),speed (m/s)\n",
    "one row": b"time (s),x (m),y (m),speed (m/s)\n0,0,0,0\n",
    "no place": b"time (s),speed (m/s)\n" + b"".join(b"%d,9\n" % i for i in range(99)),
    "no time": b"x (m),y (m)\n" + b"".join(b"%d,9\n" % i for i in range(99)),
    "long line": b"time (s),x (m),y (m)\n" + b"9" * 3_000_000,
    "quotes": b'time,"x,y\n' + b'"' * 999,
    "standing": b"time (s),x (m),y (m),speed (m/s)\n"
    + b"".join(b"%.2f,5.0,5.0,0\n" % (i / 10) for i in range(600)),
    "backwards": b"time (s),x (m),y (m)\n" + b"".join(b"%d,%d,1\n" % (-i, i) for i in range(99)),
    "all missing": b"time (s),x (m),y (m)\n" + b"".join(b"%d,,\n" % i for i in range(99)),
}


@pytest.mark.parametrize("kind", HOSTILE)
@pytest.mark.parametrize("surveyed", [True, False])
def test_file_that_is_no_log_gets_sentences_and_code_three(
    kind: str, surveyed: bool, command: Command, place: dict[str, Path], tmp_path: Path
):
    log = tmp_path / "s.csv"
    log.write_bytes(HOSTILE[kind])
    options = ["--circuit", place["survey"]] if surveyed else []
    ran = command("guide", log, *options, "--out", tmp_path / "x")
    check_refusal(ran, 3)
    said = sentences(ran)
    assert said
    assert all(line.startswith(("s.csv", "    answer: ")) for line in said)
    assert all(len(line) < 500 for line in said)
    assert not (tmp_path / "x").exists()


def test_absent_files_and_folders_are_named(
    command: Command, place: dict[str, Path], tmp_path: Path
):
    check_refusal(command("guide", tmp_path / "no.csv", "--out", tmp_path / "x"), 3, "no.csv")
    check_refusal(command("guide", tmp_path, "--out", tmp_path / "x"), 3, tmp_path.name)
    ran = command("guide", place["log"], "--circuit", tmp_path / "no.csv", "--out", tmp_path / "x")
    check_refusal(ran, 3, "no.csv", "cannot be opened")


def test_circuit_of_another_place_is_refused(
    command: Command, place: dict[str, Path], tmp_path: Path
):
    lines = place["survey"].read_text("utf-8").splitlines()
    far = [f"{float(r.split(',')[0]) + 5000},{r.split(',', 1)[1]}" for r in lines[1:]]
    survey = tmp_path / "far.csv"
    survey.write_text("\n".join([lines[0], *far]), encoding="utf-8")
    ran = command("guide", place["log"], "--circuit", survey, "--out", tmp_path / "x")
    check_refusal(ran, 3, "s.csv", "60 m from the circuit's road")


def test_inspect_prints_one_document_and_nothing_else(command: Command, place: dict[str, Path]):
    ran = command("inspect", place["log"], "--json")
    assert ran.code == 0
    document = json.loads(ran.out)
    assert document["schema"] == "lapwright.inspection/1"
    assert document["outcome"] == "accepted"
    assert sum(lap["valid"] for lap in document["laps"]) >= 2
    assert {c["name"] for c in document["channels"]} >= {"x", "y", "speed", "throttle"}
    assert "reading s.csv …" in ran.err


@pytest.mark.parametrize("kind", ["empty", "prose", "random"])
def test_inspect_of_a_refused_file_is_a_document_too(kind: str, command: Command, tmp_path: Path):
    log = tmp_path / "s.csv"
    log.write_bytes(HOSTILE[kind])
    ran = command("inspect", log, "--json")
    assert ran.code == 3
    document = json.loads(ran.out)
    assert document["outcome"] == "refused"
    assert document["messages"][0]["text"].startswith("s.csv")


def test_inspect_in_words(command: Command, place: dict[str, Path]):
    ran = command("inspect", place["log"])
    assert ran.code == 0
    assert "Speed" in ran.out or "speed" in ran.out


def test_channel_mapping_is_written_and_taken_back(
    guide: Command, command: Command, place: dict[str, Path], tmp_path: Path
):
    mapping = tmp_path / "channels.toml"
    ran = command("inspect", place["log"], "--write-channels", mapping)
    assert ran.code == 0
    assert str(mapping) in ran.err
    assert "[channels.speed]" in mapping.read_text("utf-8")
    assert guide(out=tmp_path / "a").code == 0
    assert guide("--channels", mapping, out=tmp_path / "b").code == 0
    times = [[lap["time_s"] for lap in laps_of(tmp_path / name)] for name in "ab"]
    assert times[0] == times[1]


def test_all_questions_come_at_once_with_their_answers(
    guide: Command, place: dict[str, Path], tmp_path: Path
):
    ran = guide(logs=(place["asks"],), out=tmp_path / "x")
    check_refusal(ran, 3, "asks.csv")
    answers = [line.split("answer: ")[1] for line in sentences(ran) if "answer: " in line]
    assert answers == ["--set speed.unit=m/s", "--set yaw_rate.invert=true"]
    assert not (tmp_path / "x").exists()
    # the answers as printed are what the next command needs
    parts = [part for a in answers for part in a.split()]
    assert guide(*parts, logs=(place["asks"],), out=tmp_path / "y").code == 0
    assert guide(out=tmp_path / "z").code == 0
    for lap, plain in zip(laps_of(tmp_path / "y"), laps_of(tmp_path / "z"), strict=True):
        assert lap["time_s"] == pytest.approx(plain["time_s"], abs=1e-4)


def test_offered_answers_are_taken_and_listed(
    guide: Command, place: dict[str, Path], tmp_path: Path
):
    ran = guide("--accept-offered", logs=(place["asks"],), out=tmp_path / "y")
    assert ran.code == 0
    said = [line for line in sentences(ran) if "as offered" in line]
    assert len(said) == 2
    assert len([lap for lap in laps_of(tmp_path / "y") if lap["used"]]) == 3


def test_two_logs_number_their_laps_apart(guide: Command, place: dict[str, Path], tmp_path: Path):
    ran = guide("--leave-out", "2.1", logs=(place["log"], place["second"]), out=tmp_path)
    assert ran.code == 0, ran.err
    laps = {lap["id"]: lap for lap in laps_of(tmp_path)}
    assert [i for i, lap in laps.items() if lap["used"]] == ["1.1", "1.2", "1.3", "2.2"]
    assert (laps["1.3"]["file"], laps["2.2"]["file"]) == ("s.csv", "t.csv")
    assert laps["2.1"]["time_s"] is not None


def test_questions_of_two_logs_come_together(
    guide: Command, place: dict[str, Path], tmp_path: Path
):
    bad = tmp_path / "bad.csv"
    bad.write_bytes(b"")
    ran = guide(logs=(bad, place["asks"]), out=tmp_path / "x")
    check_refusal(ran, 3, "bad.csv", "asks.csv", "--set speed.unit=m/s")


def test_drivers_name_is_shown(guide: Command, tmp_path: Path):
    assert guide("--driver", "B. Invented", out=tmp_path).code == 0
    assert {lap["driver"] for lap in laps_of(tmp_path)} == {"B. Invented"}


@pytest.mark.parametrize(
    ("error", "code"), [(OSError(28, "No space left on device"), 2), (KeyboardInterrupt(), 130)]
)
@pytest.mark.parametrize("old", [True, False])
def test_failed_writing_leaves_what_was_there(
    error: BaseException, code: int, old: bool, guide: Command, tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
):  # fmt: skip
    if old:
        for name in FILES:
            (tmp_path / name).write_text("old", encoding="utf-8")
    opened = []
    real = os.fdopen

    def fail_third(*arguments: Any, **more: Any) -> Any:
        opened.append(arguments)
        if len(opened) == 3:
            os.close(arguments[0])
            raise error
        return real(*arguments, **more)

    monkeypatch.setattr(outputs.os, "fdopen", fail_third)
    ran = guide(out=tmp_path)
    check_refusal(ran, code)
    assert len(sentences(ran)) == 1
    left = {p.name: p.read_text("utf-8") for p in tmp_path.iterdir()}
    assert left == (dict.fromkeys(FILES, "old") if old else {})


def test_directory_that_cannot_be_made_is_named(guide: Command, tmp_path: Path):
    (tmp_path / "file").write_text("a", encoding="utf-8")
    check_refusal(guide(out=tmp_path / "file" / "x"), 2, "cannot be written")


def test_interrupted_work_writes_nothing(
    guide: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(session, "build_drive", stop)
    ran = guide(out=tmp_path / "x")
    check_refusal(ran, 130, "Interrupted; nothing was written.")
    assert not (tmp_path / "x").exists()


def test_interrupt_from_outside_ends_the_process(place: dict[str, Path], tmp_path: Path):
    command = [sys.executable, "-m", "lapwright.cli", "guide", str(place["log"]),
               "--out", str(tmp_path / "x")]  # fmt: skip
    with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stderr is not None
        while b"motion" not in process.stderr.readline():
            assert process.poll() is None
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (130, b"")
    assert b"Traceback" not in err
    assert not (tmp_path / "x").exists()


def test_a_reader_that_has_enough_is_no_error(
    place: dict[str, Path], monkeypatch: pytest.MonkeyPatch
):
    command = [sys.executable, "-m", "lapwright.cli", "inspect", str(place["log"])]
    with subprocess.Popen(command, stderr=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        process.stdout.close()
        assert process.stderr is not None
        err = process.stderr.read()
    assert b"Traceback" not in err
    assert b"Exception" not in err

    def break_pipe() -> None:
        raise BrokenPipeError

    ended: list[int] = []
    monkeypatch.setattr(cli, "run", lambda _: 3)
    monkeypatch.setattr(cli.os, "_exit", ended.append)
    monkeypatch.setattr(sys, "stdout", SimpleNamespace(flush=break_pipe))
    cli.main()
    assert ended == [3]


def test_survey_from_a_lap_along_each_edge(command: Command, invented: ModuleType, tmp_path: Path):
    for name, aside in (("left", 5.0), ("right", -5.0)):
        driven = invented.drive(-0.9, LAP + 0.4, aside_m=aside, wander_m=0.0)
        invented.write_log(tmp_path / f"{name}.csv", driven)
    out = tmp_path / "circuit.json"
    ran = command("survey", tmp_path / "left.csv", tmp_path / "right.csv", "--out", out)
    assert ran.code == 0, ran.err
    assert "10.0 m wide" in ran.out
    check_edges(json.loads(out.read_text("utf-8"))["arrays"], invented)
    # which log is which does not matter
    ran = command("survey", tmp_path / "right.csv", tmp_path / "left.csv", "--out", out)
    check_edges(json.loads(out.read_text("utf-8"))["arrays"], invented)


def check_edges(arrays: dict[str, list[float]], invented: ModuleType) -> None:
    """Both edges lie within 0.3 m of where the road's are."""
    x, y, heading, left, right = (
        np.array(arrays[name]) for name in ("x", "y", "heading", "left", "right")
    )
    mx, my, direction = invented.road_at(np.linspace(0, LAP, 6000))
    for aside, n in ((5.0, left), (-5.0, -right)):
        ex, ey = mx - aside * np.sin(direction), my + aside * np.cos(direction)
        px, py = x - n * np.sin(heading), y + n * np.cos(heading)
        away = np.hypot(px[:, None] - ex, py[:, None] - ey).min(axis=1)
        assert away.max() < 0.3


def test_survey_without_a_whole_lap_is_refused(
    command: Command, invented: ModuleType, tmp_path: Path
):
    for name in ("left", "right"):
        invented.write_log(tmp_path / f"{name}.csv", invented.drive(0.0, 4.0))
    ran = command(
        "survey", tmp_path / "left.csv", tmp_path / "right.csv", "--out", tmp_path / "c.json"
    )
    check_refusal(ran, 3, "no closed lap")
    assert not (tmp_path / "c.json").exists()


@contextlib.contextmanager
def write_coach_only(session: Session, directory: Path) -> Iterator[Written]:
    """Write the scenario with one driver; all of it is what ``do.py demo`` makes."""
    paths: Future[Paths] = Future()
    paths.set_result(session.write(directory))
    yield Written(paths, ())


def check_road_used(guide: dict[str, Any], true_depths: dict[tuple[str, int], float]):
    """Hold kerbs, road left and track limits of the demo's guide to where the wheels truly ran."""
    uses = {
        (kerb["name"], int(use["lap"])): use["depth_m"]
        for corner in guide["corners"] for kerb in corner["kerbs"] for use in kerb["uses"]
    }  # fmt: skip
    found = {key: uses[key] for key in true_depths}
    # the measures in the file are the simulated car's; what is left is the angle at which it slides
    assert all(abs(found[key] - true) < 0.08 for key, true in true_depths.items())
    assert sum(true > 0.1 for true in true_depths.values()) > 5
    for corner in guide["corners"]:
        names = [kerb["name"] for kerb in corner["kerbs"] if "apex" in kerb["name"]]
        true = [depth for (name, _), depth in true_depths.items() if name in names]
        if true and min(true) > 0.0:  # what is past the edge on every lap is no road left
            assert abs(corner["road_use"]["apex"]["left_m"] + np.median(true)) < 0.15
    assert all(lap["track_limits"]["breaches"] == [] for lap in guide["laps"] if lap["used"])


def test_demo_writes_the_scenario_and_says_in_ten_lines_what_its_guide_says(
    command: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    coach = coach_session(3, driver=ON_KERBS)
    monkeypatch.setattr(demo, "write_demo", partial(write_coach_only, coach))
    ran = command("demo", "--out", tmp_path)
    assert ran.code == 0, ran.err
    assert {p.name for p in tmp_path.iterdir()} >= {*FILES, "logs"}
    logs = {p.name for p in (tmp_path / "logs").iterdir()}
    assert "circuit.json" in logs
    assert sum(name.endswith("_survey.csv") for name in logs) == 1

    *said, where = (line for line in ran.out.splitlines() if line)
    assert 3 <= len(said) <= 10
    assert str(tmp_path / "guide.html") in where
    guide = json.loads((tmp_path / "guide.json").read_text("utf-8"))
    assert guide["cautions"][0] in said
    times = [lap["time_s"] for lap in guide["laps"] if lap["used"]]
    assert len(times) == 3
    assert f"{min(times):.2f} to {max(times):.2f} s" in ran.out
    assert guide["circuit"]["surveyed"] is True
    check_road_used(guide, find_depths(coach))

    circuit = json.loads((tmp_path / "circuit.json").read_text("utf-8"))
    assert circuit["landmarks"]
    assert "kerb" in {span["kind"] for span in circuit["spans"]}
    assert circuit["corners"]
