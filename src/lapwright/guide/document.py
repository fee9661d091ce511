"""What the guide is composed from: the findings, and sentences with values in them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final
from unicodedata import bidirectional

from lapwright.driving.corner_sight import Sight
from lapwright.driving.gears import CornerGears
from lapwright.driving.habits import Habit
from lapwright.driving.kerb_use import KerbEffect, SpanUse
from lapwright.driving.ledger import Ledger
from lapwright.driving.passes import CornerPass, CornerSummary
from lapwright.driving.phases import CornerPhases
from lapwright.driving.references import ActionReferences
from lapwright.driving.room import Room
from lapwright.driving.steering import HandsSummary
from lapwright.driving.stints import Stints
from lapwright.driving.track_limits import TrackLimits
from lapwright.driving.work_order import CornerRank, WorkItem
from lapwright.model.car import Measured
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap
from lapwright.model.recording import Recording
from lapwright.possible.what import WhatIsPossible

#: A value in SI units, its quantity, and the decimals where the quantity's own are not right.
Value = tuple[float | None, str] | tuple[float | None, str, int]

_HOLE: Final = re.compile(r"\{(?=\d+\})")
_ISOLATE_BEGINS: Final = "\u2068\u2067\u2066"  # the first takes the direction of the name itself
_ISOLATE_ENDS: Final = "\u2069"
_TURNING: Final = frozenset(
    ("R", "AL", "AN", "RLE", "RLO", "LRE", "LRO", "PDF", "RLI", "LRI", "FSI", "PDI")
)
_WORD_JOINER: Final = "\u2060"  # has no width: a name looks as it was written


@dataclass(frozen=True, slots=True)
class Text:
    """A sentence with holes ``{0}``, ``{1}`` … and the values that fill them.

    Parameters
    ----------
    template
        The sentence. Names from files go in through `quote_name`.
    values
        ``(value, quantity)`` or ``(value, quantity, decimals)``, values in SI units.
    """

    template: str
    values: tuple[Value, ...] = ()

    def as_view(self) -> dict[str, Any]:
        """Return the sentence as the page takes it."""
        return {"t": self.template, "v": [list(value) for value in self.values]}


#: More laps than this are told by their number.
_MANY_LAPS: Final = 6


def quote_name(name: str) -> str:
    """Make a name from a file safe inside a template: what looks like a hole is none.

    A name with right-to-left writing or marks keeps its direction to itself (Unicode
    Standard Annex #9, isolates): it does not turn the figures after it.

    Examples
    --------
    >>> quote_name("Weir")
    'Weir'
    >>> quote_name("{0}") == "{0}"
    False
    """
    return _isolate(_HOLE.sub("{" + _WORD_JOINER, name))


def _isolate(name: str) -> str:
    """Put a name whose direction can turn between isolates that it cannot end or leave open."""
    if not any(bidirectional(character) in _TURNING for character in name):
        return name
    kept: list[str] = []
    still_open = 0
    for character in name:
        if character == _ISOLATE_ENDS and not still_open:
            continue
        still_open += (character in _ISOLATE_BEGINS) - (character == _ISOLATE_ENDS)
        kept.append(character)
    return _ISOLATE_BEGINS[0] + "".join(kept) + _ISOLATE_ENDS * (still_open + 1)


def join_words(words: Sequence[str]) -> str:
    """Join words: "a", "a and b", "a, b and c"."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def name_laps(ids: Sequence[str]) -> str:
    """Name laps: "lap 3", "laps 3, 5 and 7"; many of them by their number."""
    if len(ids) > _MANY_LAPS:
        return f"{len(ids)} laps"
    return ("lap " if len(ids) == 1 else "laps ") + join_words([quote_name(i) for i in ids])


def join_texts(texts: tuple[Text, ...] | list[Text], between: str = " ") -> Text:
    """Put sentences one after another; the holes are numbered anew."""
    parts: list[str] = []
    values: list[Value] = []
    for text in texts:
        parts.append(_shift_holes(text.template, len(values)))
        values.extend(text.values)
    return Text(between.join(parts), tuple(values))


def _shift_holes(template: str, by: int) -> str:
    return re.sub(r"\{(\d+)\}", lambda hole: f"{{{int(hole[1]) + by}}}", template)


@dataclass(frozen=True, slots=True)
class Session:
    """Who drove what, when and in what conditions; None where nobody said."""

    drivers: tuple[str, ...] = ()
    car: str | None = None
    date: str | None = None
    conditions: str | None = None


@dataclass(frozen=True, slots=True)
class Findings:
    """Everything that the first guide says, as records; composing it works nothing out anew.

    Parameters
    ----------
    version
        Version of the program.
    inputs
        ``(file name, sha256)`` of every file read.
    recordings, circuit, laps, passes
        As read and built; passes of the laps that count.
    summaries
        By corner id.
    chosen_lap, compare_lap
        Ids of the lap that the guide follows and of the lap that it is held against.
    rate_hz
        Rate of the channel that places the car.
    delays
        Seconds by canonical channel name, where they were estimated; other channels
        keep the delay that their recording states.
    missing
        What is missing for which result.
    start_note
        How the start line was chosen.
    possible
        The car and what it could do; None where nobody asked.
    measured
        What holds the car's measures; they may be known of a car that its laps do not show.
    own_best_corners_s
        Sum of the best time of every corner and straight, in s.
    sight
        What is seen from the driver's eye; None where nobody asked.
    track_limits
        By lap id.
    span_uses, kerb_effects
        Use of kerbs and patches, and what more of a kerb goes with.
    rooms, no_room
        Changes that laps showed, and what missing them risks; why nothing can be said of it,
        empty where something can.
    references, hands, phases, gears
        By corner id, of the chosen lap's driver: what actions repeat with, steering, where
        the turning is done, and gears.
    ledger, habits, ranks, work
        Where the time went, what comes again, which corner is worth most, what to do first.
    best_passes
        By corner id, the laps whose passes were the best.
    stints
        All drivers and logs, those too that the guide does not follow.
    """

    version: str
    inputs: tuple[tuple[str, str], ...]
    recordings: tuple[Recording, ...]
    circuit: Circuit
    laps: tuple[Lap, ...]
    passes: tuple[CornerPass, ...]
    summaries: Mapping[str, CornerSummary]
    chosen_lap: str
    compare_lap: str | None = None
    rate_hz: float = float("nan")
    delays: Mapping[str, float] = field(default_factory=dict)
    missing: tuple[Text, ...] = ()
    session: Session = field(default_factory=Session)
    start_note: Text | None = None
    own_best_corners_s: float | None = None
    possible: WhatIsPossible | None = None
    measured: Measured | None = None
    sight: Sight | None = None
    track_limits: Mapping[str, TrackLimits] = field(default_factory=dict)
    span_uses: tuple[SpanUse, ...] = ()
    kerb_effects: tuple[KerbEffect, ...] = ()
    rooms: tuple[Room, ...] = ()
    no_room: str = ""
    references: Mapping[str, tuple[ActionReferences, ...]] = field(default_factory=dict)
    hands: Mapping[str, HandsSummary] = field(default_factory=dict)
    phases: Mapping[str, CornerPhases] = field(default_factory=dict)
    gears: Mapping[str, CornerGears] = field(default_factory=dict)
    ledger: Ledger | None = None
    habits: tuple[Habit, ...] = ()
    ranks: tuple[CornerRank, ...] = ()
    work: tuple[WorkItem, ...] = ()
    best_passes: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    stints: Stints | None = None
