"""What is said about an input: one sentence pattern for every finding."""

from __future__ import annotations

import shlex
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Outcome = Literal["accepted", "repaired", "flagged", "ask", "refused"]

#: From harmless to final; the worst message decides the outcome of a file.
SEVERITY: tuple[Outcome, ...] = ("accepted", "repaired", "flagged", "ask", "refused")


@dataclass(frozen=True, slots=True)
class Message:
    """One finding about one input.

    The text reads ``<file>, <place>[, channel <name>]: <found>. <done>. <to_do>.``

    Parameters
    ----------
    outcome
        What happened to the input because of this finding.
    file
        Name of the file, without its folder.
    found, done, to_do
        Clauses without the closing full stop; ``done`` and ``to_do`` may be empty.
    place
        The place in words ("line 812", "lap 3, t = 131.2–134.2 s"); may be empty.
    line, byte, channel, start_s, end_s, lap
        The same place for programs; None where it does not apply.
    answer
        For a question: the command-line option that answers it.
    """

    outcome: Outcome
    file: str
    found: str
    done: str = ""
    to_do: str = ""
    place: str = ""
    line: int | None = None
    byte: int | None = None
    channel: str | None = None
    start_s: float | None = None
    end_s: float | None = None
    lap: int | None = None
    answer: str | None = None

    @property
    def text(self) -> str:
        """The finding as one line of text."""
        head = ", ".join(
            part
            for part in (self.file, self.place, f"channel {self.channel}" if self.channel else "")
            if part
        )
        clauses = [c.rstrip(".") for c in (self.found, self.done, self.to_do) if c]
        closing = "".join(c if c.endswith("?") else f"{c}." for c in clauses[-1:])
        body = " ".join([*(f"{c}." for c in clauses[:-1]), closing])
        return f"{head}: {body}"


def set_option(key: str, value: str) -> str:
    """Give the option that answers a question, quoted where a shell would split or read it.

    Examples
    --------
    >>> set_option("speed.unit", "km/h"), set_option("file.member", "day 1.csv")
    ('--set speed.unit=km/h', "--set 'file.member=day 1.csv'")
    """
    return f"--set {shlex.quote(f'{key}={value}')}"


def split_options(answer: str) -> list[str]:
    """Split what `set_option` gave, one or several, into their ``key=value``."""
    return [part for part in shlex.split(answer) if part != "--set"]


def worst_outcome(messages: Iterable[Message]) -> Outcome:
    """Outcome of an input: the most severe one among its messages."""
    return max((m.outcome for m in messages), key=SEVERITY.index, default="accepted")
