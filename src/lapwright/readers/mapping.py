"""The channel mapping: which column is which channel, in which unit, and how late."""

from __future__ import annotations

import json
import math
import os
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path
from typing import Final

from lapwright.errors import InputError, UsageError
from lapwright.messages import Message
from lapwright.model.recording import Channel, Recording
from lapwright.model.small_files import read_small_file, read_toml
from lapwright.model.unit_checks import SIGN_TURNED, TIMES_1000
from lapwright.names import GLOSSARY


@dataclass(frozen=True, slots=True)
class ChannelRule:
    """What is known about one channel beforehand.

    Parameters
    ----------
    column
        Name of the column as in the file, with or without its unit, or its
        number as "#6"; None leaves the choice to the names.
    unit
        Unit of the column; overrules the header.
    scale, invert
        Raw values are multiplied by ``scale``, and by -1 when ``invert``.
    delay_s
        How much later than the pedals this channel shows an event.
    rate_hz
        For ``time`` only: sample rate of a file without a time column.
    """

    column: str | None = None
    unit: str | None = None
    scale: float = 1.0
    invert: bool = False
    delay_s: float = 0.0
    rate_hz: float | None = None


@dataclass(frozen=True, slots=True)
class ChannelMapping:
    """Rules by canonical channel name, and choices about the file as a whole.

    ``file`` may hold ``track`` (which of several tracks, from 1), ``member`` (which
    log of an archive), ``part`` (which of several places, from 1), ``checksums``
    ("none" reads sentences that have none) and ``date`` (of the first sentence where none
    gives one, as 2026-05-09, or "none").
    """

    rules: Mapping[str, ChannelRule] = field(default_factory=dict)
    file: Mapping[str, str] = field(default_factory=dict)

    def rule(self, channel: str) -> ChannelRule:
        """Return the rule of a channel, or one that says nothing."""
        return self.rules.get(channel, ChannelRule())


_DONE: Final = "The mapping was not used"
_TO_DO: Final = 'Write entries like [channels.speed] column = "GS" unit = "km/h"'
_TEXT_FIELDS = ("column", "unit")
#: What can be chosen about a file as a whole, as ``file.track``.
_FILE_FIELDS = ("track", "member", "part", "checksums", "date")
_NUMBER_FIELDS = {"scale": "scale", "delay_s": "delay_s", "rate": "rate_hz", "rate_hz": "rate_hz"}


def read_mapping(path: Path) -> ChannelMapping:
    """Read a channel mapping file.

    Raises
    ------
    InputError
        When the file is no TOML, or a key or value is not understood.
    """
    document = read_toml(read_small_file(path, _DONE, _TO_DO), path.name, _DONE, _TO_DO)
    unknown = [key for key in document if key != "channels"]
    if unknown:
        raise InputError([_refuse(path, f"{unknown[0]!r:.60} is no table of a mapping")])
    rules: dict[str, ChannelRule] = {}
    channels = document.get("channels", {})
    if not isinstance(channels, dict):
        raise InputError([_refuse(path, "'channels' holds no tables")])
    for name, entries in channels.items():
        if name not in GLOSSARY or not isinstance(entries, dict):
            raise InputError([_refuse(path, f"[channels.{name}] names no known channel")])
        rules[name] = _read_rule(path, name, entries)
    return ChannelMapping(rules)


def _read_rule(path: Path, name: str, entries: Mapping[str, object]) -> ChannelRule:
    rule = ChannelRule()
    for key, value in entries.items():
        try:
            rule = _set_field(rule, key, value)
        except ValueError as error:
            raise InputError([_refuse(path, f"[channels.{name}] {error}")]) from error
    return rule


def _refuse(path: Path, found: str) -> Message:
    return Message("refused", path.name, found, _DONE, _TO_DO)


def _set_field(rule: ChannelRule, key: str, value: object) -> ChannelRule:
    """Set one field of a rule from a TOML value or from text."""
    if key in _TEXT_FIELDS:
        return replace(rule, **{key: str(value)})  # type: ignore[arg-type]
    if key in _NUMBER_FIELDS:
        number = str(value).lower().removesuffix("hz").strip()
        return _set_number(rule, _NUMBER_FIELDS[key], number)
    if key == "invert":
        if str(value).lower() not in ("true", "false"):
            raise ValueError(f"invert = {value!r} is neither true nor false")
        return replace(rule, invert=str(value).lower() == "true")
    raise ValueError(f"{key!r} is none of column, unit, scale, invert, delay_s, rate")


def _set_number(rule: ChannelRule, field_name: str, text: str) -> ChannelRule:
    value = float(text)
    bounds = {"scale": value != 0.0, "rate_hz": value > 0.0}
    if not math.isfinite(value) or not bounds.get(field_name, True):
        raise ValueError(f"{field_name} = {text} is no number that can be used")
    return replace(rule, **{field_name: value})  # type: ignore[arg-type]


def parse_answers(settings: Iterable[str]) -> dict[str, str]:
    """Split texts like ``speed.unit=km/h`` into a dictionary.

    Raises
    ------
    UsageError
        When a text has another shape or names no known channel.
    """
    answers: dict[str, str] = {}
    for text in settings:
        key, mark, value = text.partition("=")
        channel, dot, _ = key.strip().partition(".")
        known = channel in GLOSSARY or key.strip() in [f"file.{f}" for f in _FILE_FIELDS]
        if not mark or not dot or not known:
            raise UsageError(
                f"--set {text}: expected CHANNEL.unit=UNIT (or .column=, .invert=, .scale=, "
                ".delay_s=) with a channel of the glossary, such as --set speed.unit=km/h"
            )
        answers[key.strip()] = value.strip()
    return answers


def add_answers(mapping: ChannelMapping | None, answers: Mapping[str, str]) -> ChannelMapping:
    """Overrule a mapping with answers given as ``{"speed.unit": "km/h"}``.

    Raises
    ------
    UsageError
        When a channel, a field or a value is not understood.
    """
    rules = dict(mapping.rules) if mapping else {}
    chosen = dict(mapping.file) if mapping else {}
    for key, value in answers.items():
        channel, _, entry = key.partition(".")
        if channel not in GLOSSARY and not (channel == "file" and entry in _FILE_FIELDS):
            raise UsageError(f"--set {key}={value}: {channel!r} is no channel of the glossary")
        try:
            if channel == "file":
                chosen[entry] = _check_choice(entry, value)
                continue
            rules[channel] = _set_field(rules.get(channel, ChannelRule()), entry or "unit", value)
        except ValueError as error:
            raise UsageError(f"--set {key}={value}: {error}") from error
    return ChannelMapping(rules, chosen)


def _check_choice(entry: str, value: str) -> str:
    if entry == "date" and value != "none":
        date.fromisoformat(value)
    return value


def write_mapping(recording: Recording, path: Path) -> None:
    """Write the mapping that reads this recording as it was read, whole or not at all."""
    text = render_mapping(recording)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    part = Path(name)
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


def render_mapping(recording: Recording) -> str:
    """Render the mapping of a recording as TOML text."""
    turned = {s.channel for s in recording.repairs if s.what == SIGN_TURNED}
    scaled = {s.channel for s in recording.repairs if s.what == TIMES_1000}
    lines = [f"# Channels of {json.dumps(recording.file, ensure_ascii=False)}."]
    lines.append("# Edit column, unit, scale, invert and delay_s; delete what is right by itself.")
    if (column := recording.info.get("time column")) is not None:
        lines += ["", "[channels.time]", f"column = {_quote(column)}"]
    for name, channel in recording.channels.items():
        if channel.original and name != "utc":
            lines += [
                "",
                f"[channels.{name}]",
                *_render_rule(channel, name in turned, name in scaled),
            ]
    if recording.others:
        lines += ["", "# Columns that are not used; name a channel to use one:"]
        lines += [f"#   column = {_quote(c.original)}" for c in recording.others.values()]
    return "\n".join(lines) + "\n"


def _render_rule(channel: Channel, turned: bool, scaled: bool) -> list[str]:
    return [
        f"column = {_quote(channel.original)}",
        f"unit = {_quote(channel.original_unit or channel.unit)}",
        f"scale = {1000.0 if scaled else 1.0}",
        f"invert = {'true' if turned else 'false'}",
        f"delay_s = {channel.delay_s!r}",
    ]


def _quote(text: str) -> str:
    """Write a TOML basic string; JSON's escapes are a subset of TOML's."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
