"""Throws spoilt files at the readers and counts what comes back.

A reader may end in a result or in an error of `lapwright.errors`; anything else is a finding,
and its input is kept in ``fuzz/findings/``. With atheris (coverage-guided) where it is installed,
else with mutations of small invented files::

    python fuzz/fuzz_readers.py csv --seconds 60
    python fuzz/fuzz_readers.py gpx --runs 1000000 --engine own

Each target is called in this process on small inputs: a text reader that asks polars for a few
dozen columns spends its time there, so that its rate is some hundreds a second at best.
"""

from __future__ import annotations

import argparse
import atexit
import hashlib
import json
import os
import random
import re
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path

import numpy as np

os.environ.setdefault("POLARS_MAX_THREADS", "1")  # small inputs: threads only cost

FINDINGS = Path(__file__).parent / "findings"
LONGEST = 2_048
#: What is run when neither ``--seconds`` nor ``--runs`` is given.
SECONDS = 60.0
#: How many of the things that the readers said are told.
SHOWN = 40
MOST_SAID = 1_000
VARYING = re.compile(r'"[^"]*"|\'[^\']*\'|\([^)]*\)|[-+]?\d[\d., ]*|: .*')
MILLION = 1_000_000


# --- what is fuzzed -----------------------------------------------------------------------------


def make_targets() -> dict[str, Callable[[bytes], object]]:
    """Each reader as a function of bytes; imported here so that atheris can instrument it."""
    from lapwright.model.car_toml import read_car
    from lapwright.model.notes_toml import read_notes_text
    from lapwright.readers import csv, geojson, gpx, layout, nmea, opendrive
    from lapwright.readers.circuit_files import read_circuit
    from lapwright.readers.containers import Damaged, unpack_zip
    from lapwright.readers.line_files import read_line
    from lapwright.readers.mapping import ChannelMapping, read_mapping
    from lapwright.readers.mdf_blocks import check_blocks
    from lapwright.readers.source import Source

    plain, free = ChannelMapping(), ChannelMapping({}, {"checksums": "none"})

    def source(data: bytes) -> Source:
        return Source(Path("s"), "s", data, "")

    memory = Path("/dev/shm")  # where there is one, no disk is touched
    folder = tempfile.TemporaryDirectory(dir=memory if memory.is_dir() else None)
    atexit.register(folder.cleanup)
    path = Path(folder.name) / "s"

    def by_path(read: Callable[[Path], object]) -> Callable[[bytes], object]:
        def run(data: bytes) -> object:
            path.write_bytes(data)
            return read(path)

        return run

    def read_geojson(data: bytes) -> object:
        try:
            document = json.loads(data)
        except (ValueError, RecursionError) as error:
            raise Damaged(f"not JSON ({error})") from error
        if not isinstance(document, dict):
            raise Damaged("no object")
        return geojson.read_circuit_geojson(document, "s")

    return {
        "csv": lambda data: csv.read(source(data), plain),
        "gpx": lambda data: gpx.read(source(data), plain),
        "nmea": lambda data: nmea.read(source(data), free),
        "layout": lambda data: layout.find_layout(data.decode("latin-1").split("\n")),
        "geojson": read_geojson,
        "opendrive": lambda data: opendrive.read_circuit_opendrive(data, "s"),
        "circuit": by_path(lambda path: read_circuit([path])),
        "line": by_path(read_line),
        "mapping": by_path(read_mapping),
        "car": by_path(read_car),
        "notes": lambda data: read_notes_text(data, "s"),
        "zip": unpack_zip,
        "mdf": check_blocks,
    }


def expected_errors() -> tuple[type[Exception], ...]:
    """Errors that a reader may end in."""
    from lapwright.errors import LapwrightError
    from lapwright.readers.containers import Damaged

    return (LapwrightError, Damaged)


# --- what it begins with ------------------------------------------------------------------------


def make_seeds(name: str) -> list[bytes]:
    """Small invented files of a kind."""
    return {
        "csv": _tables, "layout": _tables, "gpx": _tracks, "nmea": _sentences,
        "geojson": _features, "opendrive": _roads, "zip": _archives, "mdf": _blocks,
        "circuit": _circuits, "line": _lines, "mapping": _mappings, "car": _cars, "notes": _notes,
    }[name]()  # fmt: skip


def _tables() -> list[bytes]:
    rows = [(0.1 * i, 46.5 + 1e-5 * i, 9.25 + 2e-5 * i, 20 + 0.1 * i, 3) for i in range(9)]
    head = ("time (s)", "lat (deg)", "lon (deg)", "speed [km/h]", "gear")
    made = []
    for cut, decimal in ((",", "."), (";", ","), ("\t", "."), (" ", ".")):
        lines = [cut.join(h.replace(" ", "") for h in head)]
        lines += [cut.join(f"{v:.5f}".replace(".", decimal) for v in row) for row in rows]
        made.append("\n".join(lines).encode())
    preamble = (
        "Driver,A. Invented\r\nDate,2026-05-09\r\n\r\nTime,Lat,Lon,Speed\r\ns,deg,deg,m/s\r\n"
    )
    stamps = [f"10:00:{t:06.3f},{a:.6f},{b:.6f},{v:.2f}" for t, a, b, v, _ in rows]
    whole = ["t,v", *(f"{i // 4},{i}" for i in range(40))]  # long enough for the rules of clocks
    return [
        *made, (preamble + "\r\n".join(stamps)).encode(), ("\n".join(stamps)).encode("utf-16"),
        "\n".join(whole).encode(),
    ]  # fmt: skip


def _tracks() -> list[bytes]:
    points = "".join(
        f'<trkpt lat="{46.5 + 1e-5 * i}" lon="{9.25 + 2e-5 * i}"><ele>{400 + i}</ele>'
        f"<time>2026-05-09T10:00:{i:02d}.5Z</time><extensions><x:speed>{20 + i}</x:speed>"
        "</extensions></trkpt>\n"
        for i in range(4)
    )
    head = '<?xml version="1.0"?>\n<gpx version="1.1">'
    one = f"{head}<trk><name>a</name><trkseg>\n{points}</trkseg></trk></gpx>"
    return [one.encode(), one.replace("</gpx>", one[one.index("<trk>") :]).encode()]


def _sentences() -> list[bytes]:
    lines = []
    for i in range(5):
        place = f"46{30 + 0.01 * i:08.5f},N,009{15 + 0.01 * i:08.5f},E"
        lines += [
            f"$GNRMC,1000{i:02d}.50,A,{place},40.1,12.5,090526,,,A",
            f"$GNGGA,1000{i:02d}.50,{place},1,12,0.7,401.2,M,,M,,",
            "$GNVTG,12.5,T,,M,40.1,N,74.3,K,A",
        ]
    summed = []
    for line in lines:
        total = 0
        for sign in line[1:].encode():
            total ^= sign
        summed.append(f"{line}*{total:02X}")
    return ["\r\n".join(lines).encode(), "\r\n".join(summed).encode()]


def _features() -> list[bytes]:
    angle = np.linspace(0.0, 2.0 * np.pi, 33)
    ring = np.column_stack([9.25 + 1.3e-3 * np.cos(angle), 46.5 + 9e-4 * np.sin(angle)])
    kinds = [
        ("centre", "LineString", ring.round(6).tolist(), {"left_m": 4, "right_m": 5.5}),
        ("kerb", "LineString", ring[3:6].round(6).tolist(), {"width_m": 1}),
        ("landmark", "Point", ring[9].tolist(), {"name": "tower", "height_m": 9}),
    ]
    features = [
        {
            "type": "Feature",
            "properties": {"kind": kind, **more},
            "geometry": {"type": shape, "coordinates": points},
        }
        for kind, shape, points, more in kinds
    ]
    return [json.dumps({"type": "FeatureCollection", "features": features}).encode()]


def _roads() -> list[bytes]:
    half = np.pi * 100.0
    pieces = "".join(
        f'<geometry s="{k * half}" x="0" y="{200 * k}" hdg="{k * np.pi}" length="{half}">'
        '<arc curvature="0.01"/></geometry>'
        for k in (0, 1)
    )
    lane = '<lane id="{}" type="driving"><width sOffset="0" a="4" b="0" c="0" d="0"/></lane>'
    lanes = f"<left>{lane.format(1)}</left><right>{lane.format(-1)}</right>"
    text = (
        f'<OpenDRIVE><road id="1" length="{2 * half}"><planView>{pieces}</planView>'
        '<elevationProfile><elevation s="0" a="1" b="0" c="0" d="0"/></elevationProfile>'
        f'<lanes><laneSection s="0">{lanes}</laneSection></lanes></road></OpenDRIVE>'
    )
    poly = '<poly3 a="0" b="0" c="0.001" d="0"/>'
    spiral = '<spiral curvStart="0.01" curvEnd="0.01"/>'
    arc = '<arc curvature="0.01"/>'
    return [text.encode(), text.replace(arc, spiral).encode(), text.replace(arc, poly).encode()]


def _circuits() -> list[bytes]:
    """Our own document of a small round, a line with widths, and two edges."""
    from lapwright.model.circuit_json import SCHEMA

    angle = np.linspace(0.0, 2.0 * np.pi, 17)[:-1]
    x, y = (20.0 * np.cos(angle)).round(1).tolist(), (20.0 * np.sin(angle)).round(1).tolist()
    arrays = {
        "s": [8.0 * k for k in range(16)], "x": x, "y": y, "heading": angle.round(2).tolist(),
        **{name: [0] * 16 for name in ("z", "slope", "banking", "vertical_curvature")},
        "curvature": [0.05] * 16, "left": [4] * 16, "right": [5] * 16,
    }  # fmt: skip
    document = {
        "schema": SCHEMA, "name": "a", "length_m": 128.0, "turns": "anticlockwise",
        "surveyed": False, "has_heights": False, "origin": None, "corners": [], "spans": [],
        "landmarks": [{"name": "mill", "at_m": 9.0, "off_m": 7.0}], "arrays": arrays,
    }  # fmt: skip
    rows = [f"{a:.2f},{b:.2f},4,5" for a, b in zip(x, y, strict=True)]
    edges = [f"{a:.2f};{b:.2f};{1.4 * a:.2f};{1.4 * b:.2f}" for a, b in zip(x, y, strict=True)]
    return [
        json.dumps(document).encode(),
        "\n".join(["x [m],y [m],right,left", *rows]).encode(),
        "\n".join(edges).encode(),
    ]


def _lines() -> list[bytes]:
    rows = [f"{i},{i * i / 10}" for i in range(9)]
    return [
        "\n".join(["x_m,y_m", *rows]).encode(),
        "\n".join(rows).replace(",", ";").encode(),
        "\n".join(["# n\ty [m]\tx [m]", *(f"0\t{i}.5\t-{i}e0" for i in range(9))]).encode(),
    ]


def _mappings() -> list[bytes]:
    return [
        b'[channels.speed]\ncolumn = "GS"\nunit = "km/h"\nscale = 1.5\ninvert = false\n'
        b'[channels.brake]\ncolumn = "#6"\ndelay_s = -0.05\n[channels.time]\nrate = "20 Hz"\n'
    ]


def _cars() -> list[bytes]:
    limits = "".join(
        f"[{name}]\nat_rest_mps2 = {{value = {a}, low = {a - 1}, high = {a + 1}}}\nper_v2_1pm = 0\n"
        for name, a in (("lateral", 12.0), ("brake", 11.0), ("drive", 6.0))
    )
    return [
        b"mass_kg = 900.0\npower_w = 120000\ndrag_area_m2 = 0.7\n"
        b"grip_forward = 1.1\ngrip_lateral = 1.2\neye_position_m = [0.1, 0.3, 1.1]\n",
        b"power_per_mass_wpkg = {value = 150.0, low = 140.0, high = 160.0}\n"
        b"drag_per_mass_1pm = 0.0005\n" + limits.encode(),
    ]


def _notes() -> list[bytes]:
    return [
        b'landmark_lines = "mill: at 120 m, left"\n[session]\ndriver = "a"\n'
        b'[[corners]]\ncorner = 1\nname = "mill"\ntext = ["brake early"]\n'
        b'[[landmarks]]\nname = "tree"\nat_m = 120\nside = "left"\noff_m = 4.0\n'
        b'[[merges]]\ncorners = [1, 2]\n[[advice]]\nat_m = 4.5\nabout = "x"\nhide = true\n',
        b'renumber = true\n[[kerbs]]\nstart_m = 10\nend_m = 20.5\nside = "right"\n'
        b'[[splits]]\ncorner = 3\nat_m = 4\n[[references]]\ncorner = 1\naction = "brake"\n'
        b'reference = "sign"\n',
    ]


def _archives() -> list[bytes]:
    import io
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", "time,lat\n1,2\n" * 20)
        archive.writestr("b/c.gpx", "<gpx/>")
    return [out.getvalue()]


def _blocks() -> list[bytes]:
    """Make a skeleton of ASAM MDF 4: header, two data groups, a channel group, two channels."""

    def block(kind: bytes, links: list[int], body: int) -> bytes:
        size = 24 + 8 * len(links) + body
        words = [size.to_bytes(8, "little"), len(links).to_bytes(8, "little")]
        return (
            b"##"
            + kind
            + bytes(4)
            + b"".join(words + [v.to_bytes(8, "little") for v in links])
            + bytes(body)
        )

    places = {"HD": 64, "DG": 168, "DG2": 232, "CG": 296, "CN": 400, "CN2": 560}
    made = b"MDF     4.10    invented" + bytes(40)
    made += block(b"HD", [places["DG"], 0, 0, 0, 0, 0], 32)
    made += block(b"DG", [places["DG2"], places["CG"], 0, 0], 8)
    made += block(b"DG", [0, 0, 0, 0], 8)
    made += block(b"CG", [0, places["CN"], 0, 0, 0, 0], 32)
    made += block(b"CN", [places["CN2"], 0, 0, 0, 0, 0, 0, 0], 72)
    made += block(b"CN", [0, 0, 0, 0, 0, 0, 0, 0], 72)
    return [made]


TOKENS = (
    b"\0", b"\r", b"\n", b"\r\n", b",", b";", b'"', b"<", b">", b"&", b"$", b"*", b".", b"-", b"e9",
    b"nan", b"inf", b"1e400", b"-0", b"99999999999999999999", b"\xff", b"\xef\xbb\xbf", b"\xff\xfe",
    b"<!DOCTYPE a>", b"<![CDATA[", b"-->", b"</trkpt>", b"<trkpt>", b"<a>" * 40, b"[" * 40,
    b"null", b"1970-01-01", b"24:61:61", b"##DG", b"PK\x01\x02", b"\xc3", b"'", b"#", b"=", b":",
    b"\t", b" ", b"{", b"}", b"]", b"[[", b"1" * 400, b"true", b"0x1f", b"_", b"{}", b"\"\"\"",
    b"10:00:00", b"inf\n", b"-nan",
)  # fmt: skip


# --- engines ------------------------------------------------------------------------------------


class Run:
    """One target: runs inputs, counts ends, keeps findings."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.target = make_targets()[name]
        self.expected = expected_errors()
        self.ends: Counter[str] = Counter()
        self.said: Counter[str] = Counter()
        self.kinds: set[str] = set()
        self.is_over = False

    def end(self) -> None:
        """Run no further input: an error raised in the midst of one would pass for a finding."""
        self.is_over = True

    def once(self, data: bytes) -> None:
        """Run one input."""
        try:
            self.ends["read"] += 1
            self.count_said("read", getattr(self.target(data), "messages", ()))
        except self.expected as error:
            self.ends["read"] -= 1
            self.ends["refused by name"] += 1
            self.count_said("refused", getattr(error, "messages", ()) or (error,))
        except Exception as error:
            self.ends["read"] -= 1
            self.ends["findings"] += 1
            place = traceback.extract_tb(error.__traceback__)[-1]
            kind = f"{type(error).__name__} at {Path(place.filename).name}:{place.lineno}"
            if kind not in self.kinds:
                self.kinds.add(kind)
                self.keep(data, kind)

    def count_said(self, end: str, messages: Sequence[object]) -> None:
        """Count what was said, without the numbers and names in it: how deep the runs reach."""
        for message in messages:
            text = VARYING.sub("#", str(getattr(message, "found", message)))
            key = f"{end}: {text[:60]}"
            self.said[key if key in self.said or len(self.said) < MOST_SAID else "others"] += 1

    def keep(self, data: bytes, kind: str) -> None:
        """Keep an input that ended in an error that is not ours."""
        FINDINGS.mkdir(exist_ok=True)
        path = FINDINGS / f"{self.name}-{hashlib.sha256(data).hexdigest()[:12]}"
        path.write_bytes(data)
        print(f"{self.name}: {kind}; kept as {path}", flush=True)
        traceback.print_exc()

    def report(self, seconds: float, engine: str) -> None:
        """Print the counts."""
        total = sum(self.ends.values())
        ends = ", ".join(f"{n:,} {end}" for end, n in sorted(self.ends.items()))
        rate = total / max(seconds, 1e-3)
        hours = MILLION / max(rate, 1e-3) / 3600.0
        print(
            f"{self.name}: {total:,} executions in {seconds:.0f} s by {engine} ({ends}); "
            f"{rate:,.0f} a second, a million takes {hours:.2f} h",
            flush=True,
        )
        print(f"{len(self.said)} things were said, of which the commonest:")
        for text, n in self.said.most_common(SHOWN):
            print(f"{n:>12,}  {text}", flush=True)


NUMBERS = (
    b"0", b"-0", b"1", b"-1", b"1e400", b"1e-400", b"1e308", b"99999999999999999999", b"0.1",
    b"1e5", b"60", b"90", b"180", b"360", b"2147483648", b"nan", b"inf", b"", b"\"\"", b"[]",
)  # fmt: skip
NUMBER = re.compile(rb"-?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?")
WORD = re.compile(rb"[A-Za-z_]{2,}")
LINE = re.compile(rb"[^\n]*\n")


def mutate(data: bytes, other: bytes, rng: random.Random) -> bytes:
    """Spoil a file: half of them anywhere, half so that their grammar mostly holds.

    What breaks the grammar is mostly refused by the first lines of a reader; what keeps it
    comes as far as the numbers.
    """
    out = bytearray(data)
    spoil = break_bytes if rng.random() < 0.5 else bend
    for _ in range(rng.randint(1, 8)):
        if out:
            spoil(out, other, rng)
    return bytes(out[:LONGEST])


def break_bytes(out: bytearray, other: bytes, rng: random.Random) -> None:
    """Change, insert, drop, repeat or exchange some bytes anywhere."""
    at = rng.randrange(len(out))
    end = min(at + rng.randint(1, 39), len(out))
    how = rng.randrange(7)
    if how == 0:
        out[at] = rng.randrange(256)
    elif how == 1:
        out[at:at] = rng.choice(TOKENS)
    elif how == 2:
        del out[at:end]
    elif how == 3:
        out[at:at] = out[at:end] * rng.randint(1, 3)
    elif how == 4:
        start = rng.randrange(max(len(other), 1))
        out[at:end] = other[start : start + end - at]
    elif how == 5:
        out[at:end] = rng.choice(TOKENS)
    elif rng.random() < 0.2:
        del out[at:]


def bend(out: bytearray, other: bytes, rng: random.Random) -> None:
    """Put another number for a number, another word for a word, or repeat or drop a line."""
    at = rng.randrange(len(out))
    how = rng.choice("nnnnnwl")
    kind = {"n": NUMBER, "w": WORD, "l": LINE}[how]
    found = kind.search(out, at) or kind.search(out)
    if found is None:
        return
    start, end = found.span()
    if how == "n":
        out[start:end] = bend_number(out[start:end], rng)
    elif how == "w":
        held = kind.search(other, rng.randrange(max(len(other), 1)))
        out[start:end] = held.group() if held else b""
    elif rng.random() < 0.5:
        del out[start:end]
    else:
        out[start:start] = out[start:end]


def bend_number(text: bytearray, rng: random.Random) -> bytes:
    """Put an odd number, or one a little or a decimal point apart from what was there."""
    how = rng.randrange(5)
    if how == 0:
        return rng.choice(NUMBERS)
    if how == 1:
        return bytes(text[1:]) if text.startswith(b"-") else b"-" + text
    digits = bytearray(text)
    at = max(len(digits) - 1 - int(rng.expovariate(0.7)), 0)  # most changes are small
    if how == 2:
        digits[at:at] = b"%d" % rng.randrange(10)
    elif how == 3 and len(digits) > 1:
        del digits[at]
    else:
        digits[at : at + 1] = b"%d" % rng.randrange(10)
    return bytes(digits)


def run_own(run: Run, seconds: float | None, seed: int, most: int | None = None) -> None:
    """Mutate seeds and what was read of their mutations, until time or runs are up."""
    rng = random.Random(seed)
    pool = make_seeds(run.name)
    first = len(pool)
    least = min(map(len, pool)) // 2  # without it the pool drifts to next to nothing
    started = time.monotonic()
    done = 0
    try:
        while not run.is_over and done != most:
            if seconds is not None and time.monotonic() - started >= seconds:
                break
            # A file without a byte never comes as far as a reader.
            data = mutate(rng.choice(pool), rng.choice(pool), rng) or b" "
            read = run.ends["read"]
            run.once(data)
            done += 1
            if run.ends["read"] > read and len(data) >= least and rng.random() < 0.05:
                pool[first:] = [*pool[first:], data][-200:]
    finally:  # an interrupted run tells its count too
        run.report(time.monotonic() - started, "mutation of invented files")


def run_atheris(name: str, seconds: float | None, seed: int, most: int | None) -> None:
    """Coverage-guided; atheris ends the process itself."""
    import atheris

    with atheris.instrument_imports(include=["lapwright.readers", "lapwright.model"]):
        run = Run(name)
    started = time.monotonic()
    atexit.register(lambda: run.report(time.monotonic() - started, "atheris"))
    corpus = FINDINGS.parent / "corpus" / name
    corpus.mkdir(parents=True, exist_ok=True)
    for i, data in enumerate(make_seeds(name)):
        (corpus / f"seed{i}").write_bytes(data)
    options = [
        f"-max_total_time={seconds or 0:.0f}",
        f"-runs={-1 if most is None else most}",
        f"-max_len={LONGEST}",
        f"-seed={seed}",
        "-rss_limit_mb=0",
    ]
    atheris.Setup([sys.argv[0], *options, "-verbosity=0", str(corpus)], run.once)
    with_findings(run, atheris.Fuzz)


def with_findings(run: Run, fuzz: Callable[[], None]) -> None:
    """Run a fuzzer that exits by itself, and turn findings into its exit code."""
    try:
        fuzz()
    finally:
        if run.ends["findings"]:
            sys.exit(1)


def main() -> int:
    """Fuzz one target and tell by the exit code whether something was found."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("target", choices=TARGETS)
    parser.add_argument("--seconds", type=float, help=f"stop after so long (else {SECONDS:.0f})")
    parser.add_argument("--runs", type=int, help="stop after so many executions")
    parser.add_argument("--engine", choices=("auto", "atheris", "own"), default="auto")
    parser.add_argument("--seed", type=int, default=int(time.time()))
    chosen = parser.parse_args()
    seconds = SECONDS if chosen.seconds is None and chosen.runs is None else chosen.seconds
    has_atheris = find_spec("atheris") is not None
    if chosen.engine == "atheris" or (chosen.engine == "auto" and has_atheris):
        run_atheris(chosen.target, seconds, chosen.seed, chosen.runs)
        return 0
    run = Run(chosen.target)
    signal.signal(signal.SIGTERM, lambda *_: run.end())  # its count is told all the same
    with suppress(KeyboardInterrupt):
        run_own(run, seconds, chosen.seed, chosen.runs)
    return 1 if run.ends["findings"] else 0


TARGETS = (
    "csv", "gpx", "nmea", "geojson", "opendrive", "circuit", "line", "mapping", "car", "notes",
    "layout", "zip", "mdf",
)  # fmt: skip

if __name__ == "__main__":
    sys.exit(main())
