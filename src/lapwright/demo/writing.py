"""The demo's own logger: CSV with preamble, header and units, or Parquet; the circuit as CSV."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from lapwright.demo import road as rd
from lapwright.demo.car import WIDTH_M
from lapwright.demo.drivers import Day, Driver
from lapwright.demo.road import Circuit
from lapwright.demo.sight import EYE_HEIGHT

if TYPE_CHECKING:
    import polars as pl

    from lapwright.demo.session import Session

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Style:
    """How the log's columns are named and in what units, and in which kind of file.

    ``columns`` maps a channel to (column name, unit text, factor, decimals); a
    channel without an entry keeps its name and SI unit. In Parquet a column's
    unit stands in its name and the rest is of no effect.
    """

    columns: Mapping[str, tuple[str, str, float, int]] = field(default_factory=lambda: ORDINARY)
    delimiter: str = ","
    decimal_comma: bool = False
    preamble: bool = True
    units_row: bool = True
    file: Literal["csv", "parquet"] = "csv"


#: What most loggers write: km/h, bar, %, deg, 1/min.
ORDINARY: Mapping[str, tuple[str, str, float, int]] = {
    "x": ("Pos X", "m", 1.0, 3),
    "y": ("Pos Y", "m", 1.0, 3),
    "z": ("Height", "m", 1.0, 3),
    "latitude": ("Latitude", "deg", 1.0, 8),
    "longitude": ("Longitude", "deg", 1.0, 8),
    "altitude": ("Altitude", "m", 1.0, 3),
    "speed": ("Speed", "km/h", 3.6, 2),
    "yaw_rate": ("Yaw Rate", "deg/s", 180 / np.pi, 3),
    "acceleration_forward": ("Acc Long", "m/s2", 1.0, 3),
    "acceleration_left": ("Acc Lat", "m/s2", 1.0, 3),
    "acceleration_up": ("Acc Vert", "m/s2", 1.0, 3),
    "steering": ("Steering Wheel", "deg", 180 / np.pi, 2),
    "throttle": ("Throttle", "%", 100.0, 1),
    "brake": ("Brake", "%", 100.0, 1),
    "brake_pressure": ("Brake Pressure", "bar", 1e-5, 2),
    "gear": ("Gear", "-", 1.0, 0),
    "engine_speed": ("Engine Speed", "1/min", 30 / np.pi, 0),
    "wheel_speed_front_left": ("Wheel FL", "km/h", 3.6, 2),
    "wheel_speed_front_right": ("Wheel FR", "km/h", 3.6, 2),
    "wheel_speed_rear_left": ("Wheel RL", "km/h", 3.6, 2),
    "wheel_speed_rear_right": ("Wheel RR", "km/h", 3.6, 2),
}


@dataclass(frozen=True, slots=True)
class Paths:
    """Where a session was written."""

    log: Path
    survey: Path
    landmarks: Path
    spans: Path
    car: Path


def preamble(driver: Driver, circuit: Circuit, day: Day) -> dict[str, str]:
    """Name–value lines above the header; all invented."""
    return {
        "Logger": "invented for the demo",
        "Driver": driver.name,
        "Car": "club racer of 260 kW (invented)",
        "Circuit": circuit.name,
        "Date": "2031-04-12",
        "Conditions": f"dry at {day.temperature_c:.0f} °C",
    }


def log_frame(session: Session, style: Style) -> tuple[pl.DataFrame, list[str]]:
    """Make the log's table and its units: one row per stamp of the fastest channel, gaps null."""
    import polars as pl

    channels = session.log.channels
    stamps = max((t for _, t, _ in channels.values()), key=len)
    columns, units = [_column("Time", stamps, 4 if session.log.rate_hz > 100 else 3)], ["s"]
    for name, (unit, t, values) in channels.items():
        head, shown, factor, decimals = style.columns.get(name, (name, unit, 1.0, 6))
        if len(t) != len(stamps):
            values = _spread(values, t, stamps)
        columns.append(_column(head, values * factor, decimals))
        units.append(shown)
    return pl.DataFrame(columns), units


def _column(name: str, values: Array, decimals: int) -> pl.Series:
    """Round as the logger does; what it did not measure is null."""
    import polars as pl

    series = pl.Series(name, np.round(values, decimals) + 0.0, nan_to_null=True)  # no -0
    return series if decimals else series.cast(pl.Int32)


def _spread(values: Array, t: Array, stamps: Array) -> Array:
    """Put a slow channel's values at the stamps that they were measured at."""
    out = np.full(len(stamps), np.nan)
    row = np.searchsorted(stamps, t - 1e-6)
    there = row < len(out)
    out[row[there]] = values[there]
    return out


def write_log(session: Session, path: Path, style: Style) -> None:
    """Write the log as the style says."""
    frame, units = log_frame(session, style)
    if style.file == "parquet":
        names = [f"{name} [{unit}]" for name, unit in zip(frame.columns, units, strict=True)]
        frame.rename(dict(zip(frame.columns, names, strict=True))).write_parquet(path)
        return
    lines = []
    if style.preamble:
        lines = [f"{key}{style.delimiter}{word}" for key, word in session.log.preamble.items()]
        lines.append("")
    lines.append(style.delimiter.join(frame.columns))
    if style.units_row:
        lines.append(style.delimiter.join(units))
    with path.open("wb") as file:
        file.write(("\n".join(lines) + "\n").encode())
        frame.write_csv(
            file, include_header=False, separator=style.delimiter, float_scientific=False,
            decimal_comma=style.decimal_comma,
        )  # fmt: skip


def survey_text(session: Session) -> str:
    """Centre line and widths as CSV."""
    s = session.survey
    table = np.column_stack([s.x, s.y, s.z, s.width_right, s.width_left])
    lines = ["x_m,y_m,z_m,width_right_m,width_left_m"]
    lines += [",".join(f"{v:.3f}" for v in row) for row in table.tolist()]
    return "\n".join(lines) + "\n"


def landmarks_text(session: Session) -> str:
    """Landmarks as CSV: a name, its place, how far beyond the road's edge, height and position."""
    lines = ["name,at_m,side,off_m,height_m,x_m,y_m,z_m"]
    circuit = session.circuit
    for m in session.landmarks:
        side, column = ("left", rd.GLEFT) if m.off_m > 0 else ("right", rd.GRIGHT)
        edge = float(np.interp(m.at_m, circuit.s, circuit.grid[: circuit.s.size, column]))
        lines.append(
            f"{m.name},{m.at_m:.1f},{side},{abs(m.off_m) - edge:.1f},{m.height_m:.1f},"
            f"{m.x:.2f},{m.y:.2f},{m.z:.2f}"
        )
    return "\n".join(lines) + "\n"


def verges_of(circuit: rd.Circuit, piece_m: float = 100.0) -> list[rd.Span]:
    """Run-off beside the road in pieces, each as wide as its narrowest place."""
    out = []
    count = round(circuit.length_m / piece_m)
    for k in range(count):
        start, end = (circuit.length_m * at / count for at in (k, k + 1))
        rows = slice(int(start / circuit.step_m), int(end / circuit.step_m))
        for side, edge, wide in (
            (1, rd.GLEFT, circuit.runoff_left), (-1, rd.GRIGHT, circuit.runoff_right)
        ):  # fmt: skip
            inner = float(circuit.grid[rows, edge].max())
            ends = sorted((side * inner, side * (inner + float(wide[rows].min()))))
            name = f"verge {'left' if side > 0 else 'right'} {k + 1}"
            out.append(
                rd.Span("verge", name, start, end, ends[1], ends[0], circuit.runoff_grip, 0.12)
            )
    return out


def spans_text(session: Session) -> str:
    """Kerbs, patches and verges as CSV; offsets are positive to the left."""
    lines = ["kind,name,start_m,end_m,left_m,right_m,grip_factor"]
    lines += [
        f"{p.kind},{p.name},{p.start_m:.1f},{p.end_m:.1f},{p.left_m:.2f},{p.right_m:.2f},"
        f"{p.grip_factor:.2f}"
        for p in (*session.spans, *verges_of(session.circuit))
    ]
    return "\n".join(lines) + "\n"


def car_text(session: Session) -> str:
    """Measures of the car, and where its driver's eye is, as TOML: what a tape would find."""
    car = session.car
    track = (car.track_f + car.track_r) / 2
    return (
        f"width_m = {WIDTH_M}\nwheelbase_m = {car.wheelbase:.3f}\ntrack_m = {track:.3f}\n"
        f"eye_position_m = [0.0, 0.0, {EYE_HEIGHT}]\n"
    )


def write_driven(session: Session, directory: Path, style: Style, name: str = "") -> Path:
    """Write the log alone under ``directory``, named after the driver."""
    directory.mkdir(parents=True, exist_ok=True)
    stem = name or session.driver.name.lower().replace(" ", "_")
    path = directory / f"{stem}.{style.file}"
    write_log(session, path, style)
    return path


def write_session(session: Session, directory: Path, style: Style, name: str = "") -> Paths:
    """Write all files of a session under ``directory``; the log is named after the driver."""
    log = write_driven(session, directory, style, name)
    place = session.circuit.name.lower()
    paths = Paths(
        log,
        directory / f"{place}_survey.csv",
        directory / f"{place}_landmarks.csv",
        directory / f"{place}_spans.csv",
        directory / "car.toml",
    )
    paths.survey.write_text(survey_text(session), encoding="utf-8")
    paths.landmarks.write_text(landmarks_text(session), encoding="utf-8")
    paths.spans.write_text(spans_text(session), encoding="utf-8")
    paths.car.write_text(car_text(session), encoding="utf-8")
    return paths
