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

from mutations import LONGEST, mutate
from seeds import make_seeds

os.environ.setdefault("POLARS_MAX_THREADS", "1")  # small inputs: threads only cost

FINDINGS = Path(__file__).parent / "findings"
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
    from lapwright.readers.damage import Damaged
    from lapwright.readers.line_files import read_line
    from lapwright.readers.mapping import ChannelMapping, read_mapping
    from lapwright.readers.mdf_blocks import check_blocks
    from lapwright.readers.source import Source
    from lapwright.readers.zip_members import unpack_zip

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
    from lapwright.readers.damage import Damaged

    return (LapwrightError, Damaged)


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
