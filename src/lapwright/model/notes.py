"""The author's notes: what a coach says about a session, its circuit and its guide."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal


@dataclass(frozen=True, slots=True)
class Place:
    """Where a note stands in its file: "[[corners]] 2" and the line; None where unknown."""

    words: str
    line: int | None = None

    def __str__(self) -> str:
        """Name the place in a message."""
        return self.words + (f", line {self.line}" if self.line else "")


@dataclass(frozen=True, slots=True)
class CornerKey:
    """Which corner is meant: its number as it was found, its name, or a place on the road in m."""

    text: str = ""
    at_m: float | None = None

    def __str__(self) -> str:
        """Name the corner in a message."""
        return f"at {self.at_m:g} m" if self.at_m is not None else self.text


@dataclass(frozen=True, slots=True)
class CornerNote:
    """Name, number, text and caption of a corner; None where nothing is said."""

    corner: CornerKey
    place: Place
    name: str | None = None
    number: str | None = None
    texts: tuple[str, ...] = ()
    caption: str | None = None


@dataclass(frozen=True, slots=True)
class MergeNote:
    """Corners that are one."""

    corners: tuple[CornerKey, ...]
    place: Place


@dataclass(frozen=True, slots=True)
class SplitNote:
    """A corner that is two, cut at ``at_m``."""

    corner: CornerKey
    at_m: float
    place: Place


@dataclass(frozen=True, slots=True)
class AdviceNote:
    """Advice that is reworded, hidden, or put to another position, counted from 1.

    ``about`` names it: see `lapwright.guide.instructions`, or ``work`` for the order of work.
    """

    corner: CornerKey
    about: str
    place: Place
    cause: str | None = None
    reword: str | None = None
    hide: bool = False
    position: int | None = None


@dataclass(frozen=True, slots=True)
class ReferenceNote:
    """The reference that the author chose for an action."""

    corner: CornerKey
    action: str
    reference: str
    place: Place


@dataclass(frozen=True, slots=True)
class SpanNote:
    """A kerb beside the road or a patch on it; offsets in m, left positive, None where not given.

    A kerb lies outside the edge on its ``side``, ``width_m`` wide; a patch without offsets
    goes from edge to edge.
    """

    kind: Literal["kerb", "patch"]
    name: str
    start_m: float
    end_m: float
    place: Place
    side: str | None = None
    width_m: float | None = None
    left_m: float | None = None
    right_m: float | None = None
    grip_factor: float | None = None


@dataclass(frozen=True, slots=True)
class Notes:
    """A file of notes.

    Parameters
    ----------
    session
        ``driver``, ``car``, ``date``, ``conditions``, those that are given.
    renumber
        Number the corners anew in driving order, from 1.
    landmarks
        Tables ``{name, at_m, side, off_m, height_m}``.
    landmark_lines
        Landmarks as lines of text.
    """

    file: str
    session: Mapping[str, str] = field(default_factory=dict)
    renumber: bool = False
    corners: tuple[CornerNote, ...] = ()
    merges: tuple[MergeNote, ...] = ()
    splits: tuple[SplitNote, ...] = ()
    advice: tuple[AdviceNote, ...] = ()
    references: tuple[ReferenceNote, ...] = ()
    landmarks: tuple[Mapping[str, Any], ...] = ()
    landmark_lines: tuple[str, ...] = ()
    spans: tuple[SpanNote, ...] = ()


@dataclass(frozen=True, slots=True)
class Misfit:
    """A note that does not fit the circuit or the guide: kept, not used, and reported."""

    place: Place
    why: str
    to_do: str
    text: str = ""
