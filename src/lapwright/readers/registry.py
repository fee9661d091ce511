"""One door to all formats: recognise by content, then read."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path, PurePath
from typing import Final

from lapwright.errors import InputError
from lapwright.messages import Message
from lapwright.model.recording import Recording
from lapwright.readers import archive, csv, gpx, markup, mdf, nmea, parquet
from lapwright.readers.mapping import ChannelMapping, add_answers
from lapwright.readers.questions import settle_questions
from lapwright.readers.source import Report, Source, leave_source, read_source, say_nothing

_HEAD_BYTES = 4096
#: A text table beyond this is read from the disk in blocks.
_HELD_BYTES = 16_000_000


@dataclass(frozen=True, slots=True)
class Format:
    """A format: how its first bytes are recognised, and how it is read."""

    name: str
    recognise: Callable[[bytes], bool]
    read: Callable[[Source, ChannelMapping], Recording]


#: In the order in which they are tried; text tables come last, since any text can be one.
FORMATS: tuple[Format, ...] = (
    Format("Parquet", parquet.recognise, parquet.read),
    Format("MDF 4", mdf.recognise, mdf.read),
    Format("GPX", gpx.recognise, gpx.read),
    Format("markup", markup.recognise, markup.read),
    Format("NMEA 0183", nmea.recognise, nmea.read),
    Format("CSV", csv.recognise, csv.read),
)

#: What an ending promises; the content decides all the same.
ENDINGS: Final = {
    ".parquet": "Parquet",
    ".gpx": "GPX",
    ".mf4": "MDF 4",
    ".zip": "zip",
    ".nmea": "NMEA 0183",
    ".csv": "CSV",
}
_TEXTS: Final = ("GPX", "NMEA 0183", "CSV")


def read_log(
    path: str | Path,
    *,
    mapping: ChannelMapping | None = None,
    unit_answers: Mapping[str, str] | None = None,
    accept_offered: bool = False,
    report: Report = say_nothing,
) -> Recording:
    """Read a log into a recording, mended as text but not yet as signals.

    Parameters
    ----------
    path
        The file; its format is told by its content.
    mapping
        Rules that overrule names and units of the file.
    unit_answers
        Answers to questions, such as ``{"speed.unit": "km/h"}``.
    accept_offered
        Take every offered answer and list it as a repair.
    report
        Is told now and then how much of a large text table is read.

    Returns
    -------
    Recording
        Its messages may still hold questions that did not keep the file from
        being read; `lapwright.model.repair.repair_recording` raises on them
        together with its own.

    Raises
    ------
    InputError
        When the file cannot be used, or a question must be answered first.
    UsageError
        When an answer names no channel or field.
    """
    source = _open(Path(path), report)
    rules = add_answers(mapping, unit_answers or {})
    return settle_questions(lambda r: _read(source, r), rules, accept_offered)


def read_logs(
    path: str | Path,
    *,
    mapping: ChannelMapping | None = None,
    unit_answers: Mapping[str, str] | None = None,
    accept_offered: bool = False,
    report: Report = say_nothing,
) -> tuple[Recording, ...]:
    """Read a log, or every log of an archive; parameters and errors as for `read_log`.

    Raises
    ------
    InputError
        When a file cannot be used; with the findings of all files of an archive.
    """
    source = _open(Path(path), report)
    rules = add_answers(mapping, unit_answers or {})
    whole = not archive.recognise(source.head(_HEAD_BYTES)) or "member" in rules.file
    sources = (source,) if whole else archive.unpack(source)
    recordings: list[Recording] = []
    stops: list[Message] = []
    for each in sources:
        try:
            recordings.append(
                settle_questions(lambda r, s=each: _read(s, r), rules, accept_offered)  # type: ignore[misc]
            )
        except InputError as error:
            stops.extend(error.messages)
    if stops:
        raise InputError(stops)
    return tuple(recordings)


def _open(path: Path, report: Report) -> Source:
    """Hold a file's bytes; those of a large text table stay on the disk."""
    try:
        with path.open("rb") as file:
            head, size = file.read(_HEAD_BYTES), path.stat().st_size
    except OSError:
        return read_source(path)  # says what is wrong
    chosen = _choose_format(head)
    is_table = chosen is not None and chosen.name == "CSV" and not archive.recognise(head)
    return leave_source(path, report) if is_table and size > _HELD_BYTES else read_source(path)


def _choose_format(head: bytes) -> Format | None:
    return next((f for f in FORMATS if f.recognise(head)), None)


def _read(source: Source, rules: ChannelMapping) -> Recording:
    """Read one file by its content, the log of an archive by the log's content."""
    said: tuple[Message, ...] = ()
    if archive.recognise(source.head(_HEAD_BYTES)):
        said = _say_ending(source, "zip")
        source, asked = archive.choose_member(source, rules)
        said += asked
    chosen = _choose_format(source.head(_HEAD_BYTES))
    if chosen is None:
        raise InputError([*said, _refuse_format(source)])
    said += _say_ending(source, chosen.name)
    try:
        recording = chosen.read(source, rules)
    except InputError as error:
        raise InputError([*said, *error.messages]) from error
    return replace(recording, messages=(*said, *recording.messages))


def _say_ending(source: Source, content: str) -> tuple[Message, ...]:
    """Say when the file's ending promises another format than its content is."""
    name = PurePath(source.path)
    promised = ENDINGS.get(name.suffix.lower(), content)
    ending = next((e for e, kind in ENDINGS.items() if kind == content), None)
    if promised == content or ending is None:
        return ()
    found = f"the content is {content}, not {promised}"
    to_do = f"Rename the file to {name.stem}{ending}"
    is_text = content in _TEXTS
    return (
        Message(
            "repaired", source.file, found, f"Taken as {content}", to_do,
            place="line 1" if is_text else "byte 0",
            line=1 if is_text else None, byte=None if is_text else 0,
        ),
    )  # fmt: skip


def _refuse_format(source: Source) -> Message:
    names = ", ".join(f.name for f in FORMATS if f.name != "markup")
    return Message(
        "refused",
        source.file,
        "the content is none of the formats that are read here",
        "Nothing was imported",
        f"Export as one of {names}",
        place="byte 0",
        byte=0,
    )
