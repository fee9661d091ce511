"""Landmarks by all three ways, from the command line to the guide's sentences. Invented data.

Where they stand is known from the invented road's own formula; latitudes are made with pyproj.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pyproj
import pytest

Command = Callable[..., Any]
Array = np.ndarray
LAP = 2 * np.pi
#: Angles on the invented road at which things stand, 2 m beyond its right edge.
THINGS = {"tall oak": 0.75, "iron gate": 2.35, "white hut": 3.9, "two elms": 5.5}
OFF_M = 7.0
EARTH = pyproj.Proj("+proj=aeqd +lat_0=47.5 +lon_0=11.25 +ellps=WGS84")


def beside(invented: ModuleType, angle: Array, off: float) -> tuple[Array, Array]:
    """Give x and y of places to the right of the road's middle."""
    x, y, heading = invented.road_at(angle)
    return x + off * np.sin(heading), y - off * np.cos(heading)


def places(invented: ModuleType) -> dict[str, float]:
    """Give, by thing, metres from the start line along the middle of the road."""
    angle = np.linspace(0.0, LAP, 20001)
    x, y, _ = invented.road_at(angle)
    gone = np.append(0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y))))
    return {name: float(np.interp(at, angle, gone)) for name, at in THINGS.items()}


def to_earth(source: Path, target: Path, header: str) -> Path:
    """Write a log anew with latitude and longitude in place of x and y."""
    lines = source.read_text("utf-8").splitlines()
    start = next(i for i, line in enumerate(lines) if "x (m),y (m)" in line)
    out = [header, *lines[:start]]
    out.append(lines[start].replace("x (m),y (m)", "latitude (deg),longitude (deg)"))
    for line in lines[start + 1 :]:
        t, x, y, *rest = line.split(",")
        lon, lat = EARTH(float(x), float(y), inverse=True)
        out.append(",".join([t, f"{lat:.8f}", f"{lon:.8f}", *rest]))
    target.write_text("\n".join(line for line in out if line) + "\n", "utf-8")
    return target


def mapping_lap(invented: ModuleType, stand_s: float) -> Any:
    """Drive a lap and a bit at 8 m/s, 3 m to the right, and stand beside each thing."""
    angle = np.linspace(-0.3, LAP + 0.3, 20001)
    x, y = beside(invented, angle, 3.0)
    gone = np.append(0.0, np.cumsum(np.hypot(np.diff(x), np.diff(y))))
    stops = [float(np.interp(at, angle, gone)) for at in THINGS.values()]
    s, v = [5.0], [6.0]
    rate = invented.RATE_HZ
    while s[-1] < gone[-1] - 5.0:
        ahead = stops[0] - s[-1] if stops else 1e9
        v.append(min(8.0, v[-1] + 2.0 / rate, max(np.sqrt(max(4.0 * ahead, 0.0)), 0.2)))
        s.append(s[-1] + v[-1] / rate)
        if stops and s[-1] >= stops[0] - 0.05:
            s += [s[-1]] * round(stand_s * rate)
            v += [0.0] * round(stand_s * rate)
            stops.pop(0)
    path, speed = np.array(s), np.array(v)
    heading = np.unwrap(np.arctan2(np.gradient(y), np.gradient(x)))
    px, py, turn, at = (np.interp(path, gone, c) for c in (x, y, heading, angle))
    time = np.arange(path.size) / rate
    return invented.Driven(time, px, py, speed, np.gradient(turn) * rate, at)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory, invented: ModuleType) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("landmarks")
    plain = invented.write_log(folder / "s.csv", invented.drive(-0.8, 8 * LAP + 1))
    stood = invented.write_log(folder / "stood.csv", mapping_lap(invented, 3.2))
    lines = [
        f"{name}: at {at:.1f} m, right, {OFF_M - invented.HALF_M} m off, 3 m high"
        for name, at in places(invented).items()
    ]
    (folder / "lines.txt").write_text("# seen on foot\n" + "\n".join(lines), "utf-8")
    rows = [f"{n},{at:.1f},right,{OFF_M - invented.HALF_M},3" for n, at in places(invented).items()]
    (folder / "table.csv").write_text("\n".join(["name,at_m,side,off_m,height_m", *rows]), "utf-8")
    features = []
    for name, angle in THINGS.items():
        x, y = beside(invented, np.array([angle]), OFF_M)
        point = {
            "type": "Point",
            "coordinates": [float(c) for c in EARTH(x[0], y[0], inverse=True)],
        }
        said = {"kind": "landmark", "name": name, "height_m": 3.0}
        features.append({"type": "Feature", "geometry": point, "properties": said})
    document = {"type": "FeatureCollection", "features": features}
    (folder / "things.geojson").write_text(json.dumps(document), "utf-8")
    names = f"Landmarks,{';'.join(THINGS)}"
    to_earth(plain, folder / "earth.csv", "")
    to_earth(stood, folder / "stood_earth.csv", names)
    x, y, _ = invented.road_at(np.zeros(1))
    lon, lat = EARTH(x[0], y[0], inverse=True)
    return {
        "folder": folder,
        "plain": plain,
        "earth": folder / "earth.csv",
        "start_earth": f"{lat:.7f},{lon:.7f}",
        "survey": invented.write_survey(folder / "c.csv"),
    }


def guide(command: Command, invented: ModuleType, files: dict[str, Any], marks: str, out: Path):
    """Make a guide; logs on the earth have no survey, the others have."""
    earth = marks in ("things.geojson", "stood_earth.csv")
    ran = command(
        "guide", files["earth" if earth else "plain"],
        *(["--start", files["start_earth"]] if earth
          else ["--circuit", files["survey"], *invented.start_option()]),
        "--landmarks", files["folder"] / marks, "--out", out,
    )  # fmt: skip
    assert ran.code == 0, ran.err
    return (json.loads((out / name).read_text("utf-8")) for name in ("guide.json", "circuit.json"))


@pytest.mark.parametrize("marks", ["lines.txt", "table.csv", "things.geojson", "stood_earth.csv"])
def test_landmarks_stand_in_their_places_and_in_sentences(
    marks: str, files: dict[str, Any], command: Command, invented: ModuleType, tmp_path: Path
):
    document, circuit = guide(command, invented, files, marks, tmp_path)
    found = {m["name"]: m for m in circuit["landmarks"]}
    assert list(found) == list(THINGS)
    surveyed = circuit["surveyed"]
    for name, at in places(invented).items():
        # without a survey the reference line is the laps' mean, whose length is not the middle's
        assert found[name]["at_m"] == pytest.approx(at, abs=1.5 if surveyed else 6.0)
        # the car stood 3 m to the right of the middle; the laps' mean wanders about that
        assert found[name]["off_m"] < -2.0
        if marks != "stood_earth.csv":
            assert found[name]["height_m"] == 3.0
            assert found[name]["off_m"] == pytest.approx(-OFF_M, abs=0.3 if surveyed else 2.0)
    advice = " ".join(text for corner in document["corners"] for text in corner["advice"])
    told = [row["reference"] for corner in document["corners"] for row in corner["references"]]
    assert [name for name in THINGS if name in advice]
    assert [name for name in THINGS if any(name in text for text in told)]


def test_stops_without_names_are_numbered(
    files: dict[str, Any], command: Command, invented: ModuleType, tmp_path: Path
):
    _, circuit = guide(command, invented, files, "stood.csv", tmp_path)
    assert [m["name"] for m in circuit["landmarks"]] == [f"landmark {k}" for k in (1, 2, 3, 4)]
    at = [m["at_m"] for m in circuit["landmarks"]]
    assert at == pytest.approx(list(places(invented).values()), abs=1.5)


BAD = {
    "gone.txt": (None, "cannot be opened"),
    "empty.txt": ("", "the file is empty"),
    "slip.txt": ("hut: at 99999 m, left", "line 1"),
    "no_side.csv": ("name,at_m,side\nhut,10,\n", "the side is missing"),
    "only_header.csv": ("name,at_m,side\n", "no landmark"),
    "broken.geojson": ('{"type": "FeatureCollection", "features": [', "not JSON"),
    "other.json": ('{"schema": "x"}', "no GeoJSON features"),
    "deep.json": ('{"a":' * 100_000, "not JSON"),
    "no_earth.geojson": (
        '{"type": "Feature", "properties": {"name": "hut"}, '
        '"geometry": {"type": "Point", "coordinates": [11.0, 47.0]}}',
        "the circuit and logs have none",
    ),
    "prose.txt": ("a tall oak on the left\n", "prose.txt"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_file_that_cannot_be_used_is_named_once(
    name: str, files: dict[str, Any], command: Command, invented: ModuleType, tmp_path: Path
):
    text, why = BAD[name]
    path = tmp_path / name
    if text is not None:
        path.write_text(text, "utf-8")
    ran = command(
        "guide", files["plain"], "--circuit", files["survey"], *invented.start_option(),
        "--landmarks", path, "--out", tmp_path / "x",
    )  # fmt: skip
    assert ran.code == 3
    said = [line for line in ran.err.splitlines() if line.startswith(name)]
    assert len(said) == 1
    assert why in said[0]
    assert "Traceback" not in ran.err
    assert not (tmp_path / "x").exists()


def test_a_lap_that_never_stands_marks_nothing_and_says_so(
    files: dict[str, Any], command: Command, invented: ModuleType, tmp_path: Path
):
    ran = command(
        "guide", files["plain"], "--circuit", files["survey"], *invented.start_option(),
        "--landmarks", files["plain"], "--out", tmp_path / "x",
    )  # fmt: skip
    assert ran.code == 3
    assert "the car stands nowhere for 3 s" in ran.err


def test_far_away_things_are_refused(files: dict[str, Any], command: Command, tmp_path: Path):
    path = tmp_path / "far.geojson"
    path.write_text(BAD["no_earth.geojson"][0] or "", "utf-8")
    ran = command("guide", files["earth"], "--landmarks", path, "--out", tmp_path / "x")
    assert ran.code == 3
    assert "'hut' lies more than 2000 m from the road" in ran.err
