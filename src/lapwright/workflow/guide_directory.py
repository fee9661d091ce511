"""A guide directory read back: circuit, car, laps, and the lap that the guide follows."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

import numpy as np
import polars as pl

from lapwright.errors import InputError, LapwrightError
from lapwright.messages import Message
from lapwright.model.car import Car
from lapwright.model.car_toml import read_car
from lapwright.model.circuit import Circuit
from lapwright.model.circuit_json import circuit_from_document
from lapwright.model.lap import Lap, Trace, Track
from lapwright.readers.parquet import read_frame
from lapwright.readers.source import read_source

SCHEMA: Final = "lapwright.guide/1"
#: No file of a guide directory is larger, bytes.
MOST_BYTES: Final = 400_000_000
_PEDALS: Final[tuple[str, ...]] = ("throttle", "brake", "steering", "gear")


@dataclass(frozen=True, slots=True)
class GuideDirectory:
    """What a review needs of a guide; ``chosen`` is the lap that it follows."""

    circuit: Circuit
    car: Car | None
    document: Mapping[str, Any]
    laps: tuple[Lap, ...]
    chosen: Lap


def read_guide(directory: Path) -> GuideDirectory:
    """Read a guide directory.

    Raises
    ------
    InputError
        Naming the file that is missing, too large, of another schema or garbled.
    """
    document = read_document(directory / "guide.json", SCHEMA)
    try:
        circuit = circuit_from_document(_json(directory / "circuit.json"))
    except InputError:
        raise
    except LapwrightError as error:
        raise _refusal(directory / "circuit.json", str(error)) from error
    if not circuit.corners:
        raise _refusal(directory / "circuit.json", "there are no corners")
    car_file = directory / "car.toml"
    car = read_car(car_file) if car_file.is_file() else None
    laps = _laps(directory / "laps.parquet", circuit, document)
    wanted = _fastest(document)
    chosen = next((lap for lap in laps if lap.id == wanted), None)
    if chosen is None:
        raise _refusal(directory / "laps.parquet", "the lap that the guide follows is not in it")
    return GuideDirectory(circuit, car, document, laps, chosen)


def read_document(path: Path, schema: str) -> dict[str, Any]:
    """Read a JSON document of a schema.

    Raises
    ------
    InputError
        If it is missing, no JSON, or of another schema.
    """
    document = _json(path)
    if document.get("schema") != schema:
        raise _refusal(path, f"the schema is {document.get('schema')!r:.60}, not {schema!r}")
    return document


def _json(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise _refusal(path, "the file is too large for a guide's")
        document = json.loads(path.read_bytes())
    except OSError as error:
        raise _refusal(path, f"cannot be read ({error.strerror})") from error
    except (ValueError, RecursionError) as error:
        raise _refusal(path, "it is no JSON document") from error
    if not isinstance(document, dict):
        raise _refusal(path, "it is no JSON object")
    return document


def _fastest(document: Mapping[str, Any]) -> str | None:
    """Find the lap that the guide follows: the one it names, else its fastest."""
    try:
        named = document.get("chosen_lap")
        timed = [x for x in document["laps"] if x["used"] and x["time_s"]]
        best = min(timed, key=lambda x: float(x["time_s"]))["id"] if timed else None
        return str(named or best) if named or best else None
    except (KeyError, TypeError, ValueError):
        return None


def _laps(path: Path, circuit: Circuit, document: Mapping[str, Any]) -> tuple[Lap, ...]:
    frame = _read_rows(path)
    try:
        parts = frame.filter(pl.col("used")).partition_by("lap", maintain_order=True)
        people = {str(x["id"]): str(x.get("driver") or "") for x in document["laps"]}
        return tuple(_lap(part, circuit, people) for part in parts)
    except (pl.exceptions.PolarsError, KeyError, TypeError, ValueError, AttributeError) as error:
        raise _refusal(path, f"it holds no laps of a guide ({error!s:.80})") from error


def _read_rows(path: Path) -> pl.DataFrame:
    """Read Parquet in a process of its own: a damaged file must not end this one."""
    try:
        if path.stat().st_size <= MOST_BYTES:
            return read_frame(read_source(path))[0]
    except OSError as error:
        raise _refusal(path, f"cannot be read ({error.strerror})") from error
    except InputError as error:
        raise _refusal(path, "; ".join(m.found for m in error.messages)) from error
    raise _refusal(path, "the file is too large for a guide's")


def _lap(part: pl.DataFrame, circuit: Circuit, people: Mapping[str, str]) -> Lap:
    values = {f.name: part[f.name].to_numpy().astype(float) for f in fields(Track)}
    if any(not np.isfinite(v).all() for n, v in values.items() if not n.endswith("_sd")):
        raise ValueError("a value is not finite")
    track = Track(**values)
    if track.time.size < 16 or np.any(np.diff(track.time) <= 0) or np.any(np.diff(track.s) < 0):
        raise ValueError("the laps do not run forward")
    if track.s[-1] < 0.99 * circuit.length_m:
        raise ValueError("a lap does not reach round the circuit")
    s, first = np.unique(track.s, return_index=True)
    start, end = np.interp((0.0, circuit.length_m), s, track.time[first])
    traces: dict[str, Trace] = {
        name: Trace(track.time, part[name].to_numpy().astype(float))
        for name in _PEDALS
        if name in part.columns and part[name].null_count() == 0
    }
    name = str(part["lap"][0])
    return Lap(
        name, "laps.parquet", people.get(name, ""), 1, "timed", 0.0, float(end - start),
        float(end - start), None, True, "", track, traces,
    )  # fmt: skip


def _refusal(path: Path, found: str) -> InputError:
    to_do = "Give the directory that lapwright wrote"
    return InputError([Message("refused", str(path), found, "Nothing was reviewed", to_do)])
