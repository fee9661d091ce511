"""Time of every regular expression in the package on 1, 2 and 4 MB of its worst input.

Fails where one is slower than linear: where 4 MB take more than six times as long as 1 MB. The
expressions are found in the source, so none is left out; the worst input of each is derived by
hand from what it can match in part before it fails (``CASES``).
"""

from __future__ import annotations

import ast
import re
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
SOURCE = ROOT / "src"
MB = 1_000_000
#: 4 MB may take this many times as long as 1 MB.
MOST_RATIO = 6.0
#: What smaller pieces may take before larger ones are not even tried: bytes, s.
PROBES = ((15_000, 0.1), (60_000, 0.5))
REPEATS, ATTEMPTS = 3, 3
#: What is slow need not be timed again, s.
ENOUGH_S = 0.5
#: A time for 1 MB below which nothing is told from noise, s.
FLOOR_S = 0.01
_FUNCTIONS = {"compile", "sub", "subn", "match", "search", "fullmatch", "split", "findall",
              "finditer"}  # fmt: skip
#: Methods of polars' ``str`` that take an expression.
_POLARS = {"replace", "replace_all", "replace_many", "extract", "extract_all", "extract_groups",
           "contains", "count_matches", "find"}  # fmt: skip


@dataclass(frozen=True)
class Found:
    """An expression in the source: where, and its text; None where it is made as it runs."""

    module: str
    written: str
    pattern: str | bytes | None


def find_patterns() -> list[Found]:
    """Find every expression given to ``re`` and to polars in the package."""
    return [
        found
        for path in sorted(SOURCE.rglob("*.py"))
        for found in _find_in(".".join(path.relative_to(SOURCE).with_suffix("").parts), path)
    ]


def _find_in(module: str, path: Path) -> Iterator[Found]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Attribute):
            continue
        owner, name = ast.unparse(node.func.value), node.func.attr
        is_python = owner == "re" and name in _FUNCTIONS
        literal = any(k.arg == "literal" for k in node.keywords)
        is_polars = owner.endswith(".str") or ".str." in owner
        if is_python or (is_polars and name in _POLARS and not literal):
            yield Found(module, ast.unparse(node.args[0]), _evaluate(module, node.args[0]))


def _evaluate(module: str, argument: ast.expr) -> str | bytes | None:
    names = vars(import_module(module))
    try:
        pattern = eval(compile(ast.Expression(argument), module, "eval"), names)
    except NameError:
        return None
    return pattern if isinstance(pattern, str | bytes) else None


# --- worst inputs -------------------------------------------------------------------------------


def times(piece: str, before: str = "", after: str = "") -> Callable[[int], str]:
    """Make a text of n signs out of one piece again and again."""
    return lambda n: before + piece * max(n // len(piece), 1) + after


def runs(piece: str, after: str = "\0") -> Callable[[int], str]:
    """Make a text of two long runs and a sign that lets what matched so far fail."""
    return lambda n: piece[0] * (n // 2) + piece[-1] * (n // 2) + after


#: By the expression's text: how it is used, and its worst inputs.
CASES: dict[str | bytes, tuple[str, tuple[Callable[[int], str], ...]]] = {
    # model
    r"\s*\[\[?\s*[\"']?([\w-]+)[\"']?\s*\]\]?": (
        "match",
        (runs("[ a"), runs("a ", "["), times("a", "["), times(" ", "[", "a")),
    ),
    r"\s*[\"']?([\w-]+)[\"']?\s*=": ("match", (runs("a "), runs(" a"), times("-"))),
    r'"(?:[^"\\]|\\.)*+"?' + r"|'[^']*+'?": (
        "sub",
        (times('\\"', '"'), times("\"'"), times("'", "", '"'), times('"\\')),
    ),
    r"[ \t]*[\w-]+[ \t]*": ("fullmatch", (runs(" a"), runs("a "), times("a", "", "."))),
    r"line (\d{1,9})": ("search", (times("line "), times("line"), times("line 1", "", ""))),
    # units, guide, publish
    r"[\s^*·⋅]+": ("sub", (times(" ", "", "a"), times(" a"))),
    r"\{(?=\d+\})": ("sub", (times("1", "{"), times("{1"), times("{"))),
    r"\{(\d+)\}": ("sub", (times("1", "{"), times("{1"), times("{"))),
    r"±[\u00a0 ]$": ("search", (times("± "), times("±"), times(" ", "±"))),
    r"[^\S\u00a0\u202f]+": ("sub", (times(" ", "", "a"), times(" a"))),
    r'style="([^"]*)"': ("sub", (times('style="'), times("style=", 'style="'), times("s"))),
    r"[\t\n\v\f\r\x1c-\x1f\x85\u2028\u2029]+": ("sub", (times("\n", "", "a"), times("\na"))),
    r"[^\s\u200b]{40,}": ("sub", (times("a" * 39 + " "), times("a"))),
    # readers
    rb"<(?:\w{1,20}:)?trkpt\b": (
        "search",
        (times("<" + "a" * 20), times("<" + "a" * 20 + ":"), times("<trkpts"), times("a", "<")),
    ),
    rb"<(\w{1,20}:)?gpx\b": (
        "search",
        (times("<" + "a" * 20), times("<" + "a" * 20 + ":"), times("<gpxs"), times("a", "<")),
    ),
    rb"[ \t]+": ("sub", (times(" ", "", "a"), times(" \t"), times(" a"))),
    rb"(?m)^ | $": ("sub", (times(" ", "", "a"), times("a "), times(" \n"))),
    r"[\s._\-:/#]+": ("sub", (times("_", "", "a"), times("_a"))),
    r"\b(left|right)\b": ("search", (times("left_"), times("lef"), times("right9"))),
    r"\bat\s{1,9}-?\d": ("search", (times("at "), times("at" + " " * 9), times(" ", "at"))),
    r"(?:pos(?:ition)?[ _]?)?([xyz])(?:[ _]?[\[(]?m[\])]?)?": (
        "fullmatch",
        (times("pos"), times("position_x")),
    ),
    rb"\$[A-Z]{2}(?:RMC|GGA|VTG|GLL|GSA|GSV|ZDA|GNS|GST|TXT),": (
        "search",
        (times("$GPRMC"), times("$GP"), times("$")),
    ),
    r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?": (
        "fullmatch",
        (times("1", "", "x"), runs("1.1", "x"), times("1", "1.", "x"), times("1", "1e", "x")),
    ),
    r"[+-]?[1-9]\d{0,2},\d{3}": ("fullmatch", (times("1"), times("1,111"))),
    r"(\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}[T ]?)?(\d{1,3}:\d{1,2}(:\d{1,2})?([.,]\d+)?)?"
    r"( ?(Z|UTC|[+-]\d{2}(:?\d{2})?))?": (
        "fullmatch",
        (times("1", "1:11.", "x"), times("1:1"), times("1")),
    ),
    r"\(([^()\[\]{}<>]*)\)|\[([^()\[\]{}<>]*)\]|\{([^{}]*)\}|<([^<>]*)>": (
        "finditer",
        (times("("), times("([{<"), times("{<"), times("a", "{<[("), times("(a)")),
    ),
    r"<title[^>]{0,200}>([^<]{0,200})": (
        "search",
        (times("<title"), times("a", "<title"), times("<title" + "a" * 200)),
    ),
    r"<((?:\w{1,20}:)?trkpt)([ \t\r\n][^<>&]{0,500})>": (
        "search",
        (times("<trkpt"), times("<trkpt "), times(" ", "<trkpt"), times("<" + "a" * 20)),
    ),
    r"[ \t\r\n]([\w.:-]{1,100})=\"[^\"]*\"": (
        "sub",
        (times(" "), times(" a"), times(' a="'), times(" " + "a" * 100)),
    ),
    r"(<([\w.:-]{1,100})(?:[ \t\r\n][^<>]{0,500}[^<>/])?>)[^<>&]*(</\2>)"
    r"|(<[^<>?!][^<>]*>)|[ \t\r\n]+": (
        "finditer",
        (
            times("<a>"),
            times("<a " + "b" * 500),
            times(" ", "<a"),
            times("a", "<a>"),
            times("<" + "a" * 100),
        ),
    ),
    r"\s*(Z|UTC)$": ("polars", (times(" "), times(" Z"), times("UTC"), times("Z", "", "x"))),
    r"(:\d{2}(?:\.\d+)?)\s*([+-]\d{2}(?::?\d{2})?)$": (
        "polars",
        (times(":11"), times("1", ":11."), times(" ", ":11"), times(":11.1 +11")),
    ),
    r"^(?:(\d+):)?(\d{1,2}):(\d{1,2}(?:\.\d+)?)$": (
        "polars",
        (times("1"), times("1", "1:1:1.", "x"), times("1:")),
    ),
}

_NUMBER_PIECES = tuple(
    map(times, ("1 ", "123456789.", "1,", "at 1", "at 1 m", "1 of", " ", "at 123456789.1"))
)
#: Expressions that hold another one: by the module's name of them.
NAMED = {
    ("lapwright.readers.landmark_lines", "_AT"): ("search", _NUMBER_PIECES),
    ("lapwright.readers.landmark_lines", "_OFF"): ("search", _NUMBER_PIECES),
    ("lapwright.readers.landmark_lines", "_HIGH"): ("search", _NUMBER_PIECES),
}
#: Expressions made as they run: by module and what they are called there.
BUILT = {
    ("lapwright.readers.gpx_alike", "_GAP.join([opening, *inner, closing])"): (
        "split",
        (
            times('<trkpt lat="1"'), times(" ", "<trkpt"), times('<trkpt lat="1" lon="1">'),
            times(" ", '<trkpt lat="1" lon="1">'), times("1", '<trkpt lat="'),
            times('<trkpt lat="1" lon="1"><time>'),
        ),
    ),
}  # fmt: skip


def all_cases() -> dict[str | bytes, tuple[str, tuple[Callable[[int], str], ...]]]:
    """All expressions with their worst inputs, those that are made as they run included."""
    named = {
        getattr(import_module(module), name).pattern: case for (module, name), case in NAMED.items()
    }
    shape = import_module("lapwright.readers.gpx_alike")._find_shape
    point = '<gpx><trk><trkseg><trkpt lat="46.5" lon="9.2"><time>2026</time></trkpt>'
    (built,) = BUILT.values()
    return {**CASES, **named, shape(point)[2].pattern: built}


# --- measuring ----------------------------------------------------------------------------------


def make_run(pattern: str | bytes, how: str) -> Callable[[str], object]:
    """Make the function that does with a text what the package does."""
    if how == "polars":
        import polars as pl

        return lambda text: pl.Series([text]).str.replace(pattern, "$0", literal=False)
    compiled: re.Pattern[str] | re.Pattern[bytes] = re.compile(pattern)
    flags = compiled.flags | (re.IGNORECASE if how == "search" else 0)
    compiled = re.compile(pattern, flags & ~re.UNICODE if isinstance(pattern, bytes) else flags)

    def run(text: str) -> object:
        subject = text.encode() if isinstance(pattern, bytes) else text
        if how == "sub":
            return compiled.sub(subject[:0], subject)  # type: ignore[call-overload]
        if how == "finditer":
            return sum(1 for _ in compiled.finditer(subject))  # type: ignore[call-overload]
        return getattr(compiled, how)(subject)

    return run


def measure(run: Callable[[str], object], text: str) -> float:
    """Shortest of a few times of the processor, s: a busy machine must not look like a slow one."""
    best, spent = float("inf"), 0.0
    while spent < ENOUGH_S and best > spent / REPEATS:
        begun = time.process_time()
        run(text)
        took = time.process_time() - begun
        best, spent = min(best, took), spent + took
    return best


def judge(pattern: str | bytes, how: str, make: Callable[[int], str]) -> tuple[float, float]:
    """Time for 4 MB in s, and how many times the one for 1 MB it is; inf where it never ends."""
    run = make_run(pattern, how)
    if any(measure(run, make(size)) > most for size, most in PROBES):
        return float("inf"), float("inf")
    best = float("inf"), float("inf")
    for _ in range(ATTEMPTS):
        one, two, four = (measure(run, make(n * MB)) for n in (1, 2, 4))
        # Below this the clock and the caches are measured; what is quadratic takes hours for 1 MB.
        best = min(best, (max(four, two) / max(one, FLOOR_S), four))
        if best[0] <= MOST_RATIO:
            break
    return best[1], best[0]


def main() -> int:
    """Print one line for each expression and fail where one is slower than linear."""
    slow = 0
    for pattern, (how, makers) in all_cases().items():
        four, ratio = max((judge(pattern, how, m) for m in makers), key=lambda r: r[1])
        slow += ratio > MOST_RATIO
        verdict = "slower than linear" if ratio > MOST_RATIO else "linear"
        print(
            f"{verdict:>18}  4 MB {1000 * four:8.1f} ms, {ratio:4.1f} times 1 MB  {pattern!r:.70}"
        )
    print(f"{len(all_cases())} expressions, {slow} slower than linear")
    return 1 if slow else 0


if __name__ == "__main__":
    sys.exit(main())
