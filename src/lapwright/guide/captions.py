"""When something is said beside a lap's video: ahead of its action, no faster than it is read."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from lapwright.errors import UsageError
from lapwright.guide.caption_words import Saying, compose_sayings, name_corner
from lapwright.guide.sentences import chosen_system, write_text

View = Mapping[str, Any]

#: A word of more letters counts as several.
_LETTERS_A_WORD: Final = 12
#: What gets its time first, and what gets the time that is left.
_STAGES: Final = ("first", "work", "throttle")
#: Nothing is said of a corner before the one before it has begun, unless the lead wants it: then
#: so much more is allowed, s.
_SLACK_S: Final = 2.0
#: Actions that are closer than this begin the same corner, s.
_SAME_S: Final = 0.01


@dataclass(frozen=True, slots=True)
class CaptionRules:
    """How captions are timed.

    Parameters
    ----------
    lead_s
        A caption begins at least so long before its action, in s.
    words_per_minute
        Nothing has to be heard or read faster than this.
    farthest_s
        Nothing begins earlier before its action than this, in s.
    video_offset_s
        Where the lap begins in the video, in s; negative if before the video.

    Raises
    ------
    UsageError
        If a value cannot be used.
    """

    lead_s: float = 4.0
    words_per_minute: float = 160.0
    farthest_s: float = 12.0
    video_offset_s: float = 0.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.lead_s <= 60.0:
            raise UsageError(f"--caption-lead: {self.lead_s:g} is not between 0 and 60 s.")
        if not 30.0 <= self.words_per_minute <= 600.0:
            said = f"{self.words_per_minute:g}"
            raise UsageError(f"--caption-words: {said} is not between 30 and 600 a minute.")
        if not math.isfinite(self.video_offset_s):
            raise UsageError("--video-offset: give a finite number of seconds.")


@dataclass(frozen=True, slots=True)
class Cue:
    """A piece of text with its time in the video, in s.

    ``due_s`` is when the action comes that a caption is said for, None for a chapter.
    """

    start_s: float
    end_s: float
    text: str
    corner: str
    due_s: float | None = None


@dataclass(frozen=True, slots=True)
class Captions:
    """The cues of a lap, and the corners that nothing can be said for in time."""

    cues: tuple[Cue, ...]
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Timed:
    saying: Saying
    due_s: float
    earliest_s: float
    version: int

    @property
    def text(self) -> str:
        return self.saying.versions[self.version]


def compose_captions(view: View, rules: CaptionRules) -> Captions:
    """Compose the captions of the chosen lap.

    How and where each corner is begun gets its time first, the corners that are worth most
    before the others; then what to work on and longer sentences; what is left goes to the
    throttle.
    """
    timed = _time_all(compose_sayings(view), _Clock(view, rules), rules)
    kept: list[_Timed] = []
    left_out: list[str] = []
    for stage in _STAGES:
        for one in (t for t in timed if t.saying.about == stage):
            if _start_all([*kept, one], rules) is not None:
                kept.append(one)
            elif one.saying.about == "first":
                left_out.append(one.saying.corner)
        kept = _lengthen(kept, rules, enough=stage == "first")
    return Captions(_make_cues(kept, rules), tuple(left_out))


def compose_chapters(view: View, rules: CaptionRules) -> tuple[Cue, ...]:
    """Compose chapters of the chosen lap: each corner with the road that leads to it."""
    clock = _Clock(view, rules)
    corners = sorted(view["guide"]["corners"], key=lambda c: c["end_m"])
    if not corners:
        return ()
    ends = [clock.at(c["end_m"]) for c in corners]
    last = corners[0] if corners[0]["start_m"] > corners[0]["end_m"] else None
    if last is None:
        ends[-1] = clock.end_s
    else:
        corners, ends = [*corners, last], [*ends, clock.end_s]
    cues: list[Cue] = []
    begin = clock.start_s
    for corner, end in zip(corners, ends, strict=True):
        start = max(begin, 0.0)
        if math.isfinite(end) and end > start:
            cues.append(Cue(start, end, _title(view, corner), corner["id"]))
            begin = end
    return tuple(cues)


def count_words(text: str) -> int:
    """Count the words that a text has when it is spoken.

    A number counts by its digits, a very long word as several.

    Examples
    --------
    >>> count_words("brakes 62 m before the apex")
    7
    """
    return sum(
        sum(c.isdigit() for c in word) or math.ceil(len(word) / _LETTERS_A_WORD)
        for word in text.split()
    )


def find_speech_s(text: str, rules: CaptionRules) -> float:
    """Return the time that a text takes to be heard or read, in s."""
    return 60.0 * count_words(text) / rules.words_per_minute


class _Clock:
    """When the chosen lap is where, in the video's time."""

    def __init__(self, view: View, rules: CaptionRules) -> None:
        pictures = view["pictures"]
        lap = pictures["laps"][pictures["chosen_lap"]]
        time = np.asarray(lap["time"], dtype=float)
        known = np.isfinite(time)
        self._place = np.flatnonzero(known) * float(pictures["step_m"])
        self._time = time[known] + rules.video_offset_s
        self.start_s, self.end_s = float(self._time[0]), float(self._time[-1])

    def at(self, place_m: float) -> float:
        return float(np.interp(place_m, self._place, self._time))


def _time_all(sayings: Sequence[Saying], clock: _Clock, rules: CaptionRules) -> list[_Timed]:
    """Say when each action comes, and how early it may be spoken of; by the corners' ranks."""
    begun = sorted(clock.at(s.place_m) for s in sayings if s.about == "first")
    timed = []
    for one in sorted(sayings, key=lambda s: s.rank):
        due = clock.at(one.place_m)
        before = max((b for b in begun if b < due - _SAME_S), default=-math.inf)
        turn = min(before, due - rules.lead_s - _SLACK_S)
        earliest = max(0.0, due - rules.farthest_s, turn)
        timed.append(_Timed(one, due, earliest, len(one.versions) - 1))
    return timed


def _start_all(timed: Sequence[_Timed], rules: CaptionRules) -> list[float] | None:
    """Return the latest starts, in the order of due times; None where one would be too early."""
    starts: list[float] = []
    following = math.inf
    for one in _in_order(timed)[::-1]:
        end = min(one.due_s, following)
        start = min(one.due_s - rules.lead_s, end - find_speech_s(one.text, rules))
        if start < one.earliest_s:
            return None
        starts.append(start)
        following = start
    return starts[::-1]


def _in_order(timed: Sequence[_Timed]) -> list[_Timed]:
    """Put what is said in the order of its actions; how a corner is begun comes first."""
    return sorted(timed, key=lambda one: (one.due_s, one.saying.about != "first"))


def _lengthen(timed: list[_Timed], rules: CaptionRules, enough: bool) -> list[_Timed]:
    """Give the sentences as many of their words as there is time for, in turn a step each.

    ``enough`` stops at the words without which a sentence is of little use.
    """
    grown = True
    while grown:
        grown = False
        for i, one in enumerate(timed):
            longer = [*timed[:i], replace(one, version=one.version - 1), *timed[i + 1 :]]
            least = one.saying.enough if enough else 0
            if one.version > least and _start_all(longer, rules) is not None:
                timed, grown = longer, True
    return timed


def _make_cues(timed: Sequence[_Timed], rules: CaptionRules) -> tuple[Cue, ...]:
    """Make cues that stay until their action or the next cue."""
    starts = _start_all(timed, rules) or []
    order = _in_order(timed)
    ends = [*starts[1:], *([math.inf] if starts else [])]
    return tuple(
        Cue(start, min(one.due_s, end), one.text, one.saying.corner, one.due_s)
        for one, start, end in zip(order, starts, ends, strict=True)
    )


def _title(view: View, corner: View) -> str:
    """Name a chapter as the guide names the corner, at whatever length."""
    words = view["words"]["corners"].get(corner["id"])
    if not words:
        return name_corner(corner)
    return write_text(words["title"], chosen_system(view["units"]))
