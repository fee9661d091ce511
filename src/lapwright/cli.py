"""The command line: arguments, progress, exit codes."""

from __future__ import annotations

import json
import math
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from lapwright.errors import InputError, LapwrightError, UsageError

if TYPE_CHECKING:
    from lapwright.guide.unit_system import UnitSystem
    from lapwright.messages import Message
    from lapwright.workflow.log_options import LogOptions
    from lapwright.workflow.outputs import Made
    from lapwright.workflow.session import Progress

INTERRUPTED = 130

app = typer.Typer(
    help="From logged laps to a guide of how a circuit is driven.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Logs = Annotated[list[Path], typer.Argument(help="Logs of one circuit.", metavar="LOG...")]
Out = Annotated[Path, typer.Option("--out", help="Directory for the results.", metavar="DIR")]
Channels = Annotated[
    Path | None, typer.Option("--channels", help="Channel mapping (TOML).", metavar="FILE")
]
Answers = Annotated[
    list[str] | None,
    typer.Option("--set", help="Answer a question.", metavar="CHANNEL.unit=UNIT"),
]
Accept = Annotated[
    bool, typer.Option("--accept-offered", help="Take every offered answer; each is listed.")
]
Start = Annotated[
    str | None,
    typer.Option("--start", help="A point on the start line.", metavar="X,Y or LAT,LON"),
]
Units = Annotated[
    str, typer.Option("--units", help="Units to read in.", metavar="metric|imperial|FILE")
]


def main() -> None:
    """Run the command line and end the process with its exit code."""
    code = run(sys.argv[1:])
    for stream in (sys.stdout, sys.stderr):
        with suppress(BrokenPipeError):  # whoever read it has enough
            stream.flush()
    os._exit(code)  # all is written; taking the libraries down takes a third of a second


def run(arguments: list[str]) -> int:
    """Run one command; return its exit code. Our own errors become sentences, never tracebacks."""
    try:
        code = app(arguments, standalone_mode=False)
    except InputError as error:
        _say(*(line for m in error.messages for line in _lines_of(m)))
        return error.exit_code
    except LapwrightError as error:
        _say(str(error))
        return error.exit_code
    except typer.Exit as end:
        return int(end.exit_code)
    except (KeyboardInterrupt, typer.Abort):
        code = INTERRUPTED
    except Exception as error:
        if hasattr(error, "format_message"):  # wrong use, as the argument parser found it
            _say(f"{error.format_message()} See lapwright --help.")
            return UsageError.exit_code
        raise
    if code == INTERRUPTED:  # the argument parser may turn the interrupt into this code itself
        _say("Interrupted; nothing was written.")
    return int(code or 0)


@app.command("guide")
def guide_command(
    logs: Logs,
    out: Out = Path("guide"),
    circuit: Annotated[
        list[Path] | None,
        typer.Option("--circuit", help="Survey; twice for two edges.", metavar="FILE"),
    ] = None,
    start: Start = None,
    channels: Channels = None,
    answers: Answers = None,
    accept_offered: Accept = False,
    lap: Annotated[
        str | None, typer.Option("--lap", help="The lap to follow.", metavar="ID")
    ] = None,
    leave_out: Annotated[
        str | None,
        typer.Option("--leave-out", help="Laps in traffic or under flags.", metavar="ID,..."),
    ] = None,
    car: Annotated[
        Path | None,
        typer.Option("--car", help="The car (TOML), or only its measures.", metavar="FILE"),
    ] = None,
    driver: Annotated[str, typer.Option("--driver", help="Name to show.", metavar="NAME")] = "",
    track_limits: Annotated[
        str,
        typer.Option(
            "--track-limits",
            help="The rule of track limits.",
            metavar="whole-car|whole-wheel|any-contact",
        ),
    ] = "whole-car",
    notes: Annotated[
        Path | None,
        typer.Option("--notes", help="The author's notes (TOML).", metavar="FILE"),
    ] = None,
    landmarks: Annotated[
        list[Path] | None,
        typer.Option(
            "--landmarks",
            help="Lines, a table, GeoJSON, or the log of a lap that stands 3 s beside each.",
            metavar="FILE",
        ),
    ] = None,
    video_offset: Annotated[
        float,
        typer.Option("--video-offset", help="Where the lap begins in its video.", metavar="S"),
    ] = 0.0,
    caption_lead: Annotated[
        float,
        typer.Option("--caption-lead", help="Captions begin so long before.", metavar="S"),
    ] = 4.0,
    caption_words: Annotated[
        float,
        typer.Option("--caption-words", help="Words of a caption in a minute.", metavar="N"),
    ] = 160.0,
    units: Units = "metric",
) -> None:
    """Make a guide from the logs of a session."""
    from lapwright.driving.track_limits import choose_rule
    from lapwright.guide.captions import CaptionRules
    from lapwright.workflow.guide import GuideOptions, make_guide
    from lapwright.workflow.outputs import write_outputs

    options = GuideOptions(
        logs=_log_options(channels, answers, accept_offered),
        circuit=tuple(circuit or ()),
        start=_point(start),
        chosen_lap=lap,
        leave_out=tuple(i.strip() for i in (leave_out or "").split(",") if i.strip()),
        car=car,
        driver=driver,
        track_limits=choose_rule(track_limits),
        notes=notes,
        landmarks=tuple(landmarks or ()),
        captions=CaptionRules(caption_lead, caption_words, video_offset_s=video_offset),
    )
    with _progress() as report:
        made = make_guide(logs, _units(units), options, progress=report)
        paths = write_outputs(out, made.files)
    _say(*(line for m in made.messages for line in _lines_of(m)))
    print(_summary(made))
    print(f"\nThe guide: {paths[0]}")


@app.command("inspect")
def inspect_command(
    log: Annotated[Path, typer.Argument(help="A log.", metavar="LOG")],
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document.")] = False,
    write_channels: Annotated[
        Path | None,
        typer.Option("--write-channels", help="Write a channel mapping to edit.", metavar="FILE"),
    ] = None,
    channels: Channels = None,
    answers: Answers = None,
    accept_offered: Accept = False,
) -> None:
    """Say what is in a log: channels, units, rates, laps, repairs, what is missing."""
    from lapwright.readers.mapping import write_mapping
    from lapwright.workflow.inspect import inspect_log
    from lapwright.workflow.show_inspection import render_document, render_text

    options = _log_options(channels, answers, accept_offered)
    with _progress() as report:
        report(f"reading {log.name}", 0, 1)
        inspection = inspect_log(
            log,
            mapping=options.mapping,
            unit_answers=options.unit_answers,
            accept_offered=options.accept_offered,
            progress=report,
        )
        report("looking for laps", 0, 1)
        from lapwright.workflow.lap_rows import find_lap_rows

        inspection = find_lap_rows(inspection)
    if write_channels is not None and inspection.recording is not None:
        write_mapping(inspection.recording, write_channels)
        _say(f"Channel mapping: {write_channels}")
    if as_json:
        print(json.dumps(render_document(inspection), ensure_ascii=False, indent=1))
    else:
        print(render_text(inspection))
    if inspection.outcome in ("ask", "refused"):
        raise typer.Exit(InputError.exit_code)


@app.command("possible")
def possible_command(
    circuit: Annotated[
        list[Path], typer.Option("--circuit", help="Survey; twice for two edges.", metavar="FILE")
    ],
    car: Annotated[Path, typer.Option("--car", help="The car (TOML).", metavar="FILE")],
    line: Annotated[
        Path | None, typer.Option("--line", help="Points of a line: its profile.", metavar="FILE")
    ] = None,
    mesh: Annotated[float, typer.Option("--mesh", help="Step of the solution in m.")] = 5.0,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON document.")] = False,
) -> None:
    """Work out the fastest line of a car on a circuit, or the speed profile on a given line."""
    from lapwright.publish.json import render_json
    from lapwright.workflow.possible import Wanted, make_possible
    from lapwright.workflow.summary import render_possible

    with _progress() as report:
        report("working out what is possible", 0, 1)
        document = make_possible(circuit, car, line, Wanted(mesh_m=mesh))
    print(render_json(document).decode() if as_json else render_possible(document))


@app.command("review")
def review_command(
    logs: Logs,
    guide: Annotated[Path, typer.Option("--guide", help="A guide's directory.", metavar="DIR")],
    since: Annotated[
        list[Path] | None,
        typer.Option(
            "--since",
            help="An earlier review's directory; several, oldest first, give the guide's record.",
            metavar="DIR",
        ),
    ] = None,
    out: Out = Path("review"),
    channels: Channels = None,
    answers: Answers = None,
    accept_offered: Accept = False,
    units: Units = "metric",
) -> None:
    """Hold other drivers' logs, one for each driver, against a guide."""
    from lapwright.workflow.outputs import write_outputs
    from lapwright.workflow.review import make_review
    from lapwright.workflow.summary import render_review_summary

    options = _log_options(channels, answers, accept_offered)
    with _progress() as report:
        made = make_review(
            logs, guide, _units(units), options=options, since=since or (), progress=report
        )
        paths = write_outputs(out, made.files)
    _say(*(line for m in made.messages for line in _lines_of(m)))
    print(render_review_summary(made.document))
    print(f"\nThe review: {paths[1]}")


@app.command("survey")
def survey_command(
    left: Annotated[Path, typer.Argument(help="A lap along the left edge.", metavar="LEFT_LOG")],
    right: Annotated[Path, typer.Argument(help="A lap along the right edge.", metavar="RIGHT_LOG")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE")] = Path("circuit.json"),
    start: Start = None,
    channels: Channels = None,
    answers: Answers = None,
    accept_offered: Accept = False,
) -> None:
    """Make a circuit from one lap driven along each edge."""
    from lapwright.workflow.outputs import write_outputs
    from lapwright.workflow.survey import make_survey, render_circuit

    options = _log_options(channels, answers, accept_offered)
    with _progress() as report:
        circuit = make_survey(left, right, options, start=_point(start), progress=report)
        write_outputs(out.parent, {out.name: render_circuit(circuit)})
    width = float((circuit.left + circuit.right).mean())
    print(f"{circuit.length_m:.0f} m, {circuit.turns}, {width:.1f} m wide on average: {out}")


@app.command("demo")
def demo_command(out: Out = Path("out/demo"), units: Units = "metric") -> None:
    """Write the invented scenario, make its guide and review its pupils."""
    from lapwright.workflow.demo import make_demo

    with _progress() as report:
        made, paths = make_demo(out, units=units, progress=report)
    print(_summary(made))
    print(f"\nThe guide: {paths[0]}")
    reviews = [path for path in paths if path.name == "review.html"]
    print(*(f"The review of its pupils: {path}" for path in reviews), sep="\n")


def _log_options(
    channels: Path | None, answers: list[str] | None, accept_offered: bool
) -> LogOptions:
    from lapwright.readers.mapping import parse_answers, read_mapping
    from lapwright.workflow.log_options import LogOptions

    mapping = None if channels is None else read_mapping(channels)
    return LogOptions(mapping, parse_answers(answers or []), accept_offered)


def _units(name: str) -> UnitSystem:
    from lapwright.guide.unit_system import choose_unit_system

    return choose_unit_system(name)


def _point(text: str | None) -> tuple[float, float] | None:
    if text is None:
        return None
    try:
        first, second = (float(part) for part in text.split(","))
    except ValueError as error:
        raise UsageError(f"--start: {text!r} is not two numbers X,Y or LAT,LON.") from error
    if not (math.isfinite(first) and math.isfinite(second)):
        raise UsageError(f"--start: {text!r} is not a point; give two finite numbers.")
    return first, second


@contextmanager
def _progress() -> Iterator[Progress]:
    """Report long work: a moving line on a terminal, plain lines elsewhere, on standard error."""
    from rich.console import Console

    console = Console(stderr=True)
    if console.is_terminal:
        with console.status("") as status:
            yield lambda what, done, total: status.update(
                f"{what} ({done + 1} of {total})" if total > 1 else what
            )
    else:
        yield lambda what, _done, _total: _say(f"{what} …")


def _say(*lines: str) -> None:
    for line in lines:
        print(line, file=sys.stderr)


def _lines_of(message: Message) -> list[str]:
    """Return a finding as text; a question with the option that answers it."""
    answer = [f"    answer: {message.answer}"] if message.answer else []
    return [message.text, *answer]


def _summary(made: Made) -> str:
    from lapwright.workflow.summary import render_summary

    return render_summary(made.document)


if __name__ == "__main__":
    main()
