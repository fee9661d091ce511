"""The ledger in words: what each cause means, and what a row cost, in a coach's words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from lapwright.driving.habits import Habit
from lapwright.driving.ledger import Account, Row
from lapwright.driving.work_order import WorkItem
from lapwright.guide.document import Findings, Text, Value, join_texts, quote_name
from lapwright.guide.reference_names import find_settled, name_reference
from lapwright.model.circuit import Corner


@dataclass(frozen=True, slots=True)
class CauseWords:
    """A cause: its label, what is meant, what was done, and what to do.

    ``done`` may hold one hole for how much an action differs from the best passes:
    ``action`` names it, ``sign`` is +1 where the fault makes it larger. ``do`` may hold one
    hole for the goal.
    """

    label: str
    meaning: str
    done: str
    do: str
    action: str = ""
    sign: int = 0
    done_by: str = ""
    do_to: str = ""
    quantity: str = "distance"
    decimals: int = 0


CAUSES: Final[Mapping[str, CauseWords]] = {
    "early_braking": CauseWords(
        "braked early", "the braking was done sooner, and the slow speed then held",
        "braked early", "brake later, in steps", "brake_start_m", -1, "braked {0} early",
        "brake at {0}",
    ),
    "late_braking": CauseWords(
        "braked late", "the braking was done later, and what that led to in the corner",
        "braked late", "brake earlier", "brake_start_m", 1, "braked {0} late", "brake at {0}",
    ),
    "soft_braking": CauseWords(
        "braked softly", "less slowing for each metre, begun sooner for it",
        "braked more softly", "brake more firmly from the start", "mean_deceleration_mps2", -1,
        "braked more softly, by {0} on average", "slow with {0} on average",
        "acceleration", 1,
    ),
    "fast_release": CauseWords(
        "released fast", "the brake was let go too quickly; the car then ran on before it turned",
        "let the brake go too quickly", "let the brake go more slowly", "brake_end_m", -1,
        "had the brake off {0} early", "have the brake off at {0}",
    ),
    "slow_release": CauseWords(
        "brake dragged on", "a light brake was held on past where it is usually off",
        "dragged the brake on", "let the brake go sooner", "brake_end_m", 1,
        "dragged the brake on for {0} more", "have the brake off at {0}",
    ),
    "coasting": CauseWords(
        "coasted", "neither pedal pressed before the brake",
        "coasted before the brake", "go from the throttle to the brake at once", "coasting_s", 1,
        "coasted for {0} longer", "coast for no more than {0}", "time", 2,
    ),
    "slow_minimum": CauseWords(
        "slow in the middle", "a lower speed at the slowest place than this line allows",
        "was slow in the middle of the corner", "carry more speed to the middle, in steps",
        "minimum_speed_mps", -1, "was {0} slow at the slowest place",
        "carry {0} at the slowest place", "speed", 0,
    ),
    "line": CauseWords(
        "line", "another line: tighter, longer, or away from the inside at the apex",
        "took another line", "come back to the line of the best passes", "apex_inside_m", 1,
        "was {0} further from the inside at the apex", "pass the inside edge {0} away",
        "offset", 1,
    ),
    "late_throttle": CauseWords(
        "throttle late", "the throttle was picked up later, or opened more slowly",
        "was late on the throttle", "pick the throttle up sooner", "throttle_first_m", 1,
        "picked the throttle up {0} late", "pick the throttle up at {0}",
    ),
    "stepped_throttle": CauseWords(
        "throttle in steps", "the throttle stood still or fell on its way to full",
        "opened the throttle in steps", "open the throttle in one go",
        "time_to_full_throttle_s", 1, "took {0} longer to full throttle",
        "be at full throttle within {0}", "time", 2,
    ),
    "throttle_dip": CauseWords(
        "throttle taken back", "full throttle was left again on the way out",
        "took the throttle back after it was full", "wait, then keep it full",
    ),
    "lift": CauseWords(
        "lifted", "the throttle was left where it is kept full on the best passes",
        "lifted", "build up to staying on the throttle, in steps",
    ),
    "gear": CauseWords(
        "gear", "a gear too high out of the corner, or a slow change",
        "was in a higher gear on the way out", "take the gear of the best passes", "gear", 1,
    ),
    "correction": CauseWords(
        "correction", "the wheel had to be corrected, and what that led to",
        "had to correct the wheel", "turn the wheel once",
    ),
    "unexplained": CauseWords(
        "unexplained", "what the model of the car cannot explain",
        "lost time that the model cannot explain", "",
    ),
}  # fmt: skip

AGAINST: Final[Mapping[str, str]] = {
    "own_best": "own best",
    "guide_lap": "the guide's lap",
    "possible_on_line": "possible on this line",
    "possible_on_fastest_line": "possible on the fastest line",
}
#: Differences of an action smaller than this are not named, in SI units by quantity.
_LEAST: Final = {"distance": 1.0, "acceleration": 0.2, "time": 0.03, "speed": 0.2, "offset": 0.1}
#: Tolerances are no narrower than this, in SI units by quantity.
_TOLERATED: Final = {
    "distance": 2.0,
    "speed": 0.3,
    "time": 0.05,
    "acceleration": 0.3,
    "offset": 0.3,
}


def label_against(key: str) -> str:
    """Say what a lap is held against."""
    if key.startswith("lap:"):
        return f"lap {key[4:]}"
    return AGAINST.get(key, key)


def compose_ledger_words(findings: Findings) -> dict[str, Any] | None:
    """Compose the title, the sentences and the cautions of the ledger's section."""
    ledger = findings.ledger
    if ledger is None or not ledger.accounts:
        return None
    chosen = [a for a in ledger.accounts if a.lap == findings.chosen_lap]
    sentences = [
        Text(
            "Every difference is booked to a corner and a cause; the rows add up. A hollow row "
            "lies within the driver's own scatter: this data cannot show it."
        ),
        *(_say_account(a) for a in chosen),
    ]
    own = next((a for a in ledger.accounts if a.against == "own_best"), None)
    if own is not None:
        sentences.append(
            Text(
                "Own best is the mean of the fastest passes of each corner by this driver, so "
                "that one lucky pass does not set it. What is done on every lap cannot be seen "
                "against it."
            )
        )
    if any(a.against.startswith("possible") for a in ledger.accounts):
        sentences.append(
            Text(
                "Possible is computed from what the laps of a car have shown. Who is soft in "
                "every corner cannot be told from a car with less grip."
            )
        )
    return {
        "title": "Where the time went",
        "sentences": [t.as_view() for t in sentences],
        "cautions": [
            Text(
                "Costs are estimates of past laps in past conditions. Build up to a later brake "
                "or a higher speed in steps."
            ).as_view()
        ],
    }


def _say_account(account: Account) -> Text:
    slower = account.difference_s >= 0
    verb = "slower" if slower else "faster"
    held = label_against(account.against)
    return Text(
        f"Lap {quote_name(account.lap)} is {{0}} {verb} than {held}; {{1}} of it on straights.",
        ((abs(account.difference_s), "time", 2), (account.straight_s, "time", 2)),
    )


def say_row(findings: Findings, account: Account, row: Row) -> Text | None:
    """Say in one sentence what a significant row was and what it cost; None for others."""
    if not row.significant or row.cause == "unexplained":
        return None
    words = CAUSES[row.cause]
    cost: tuple[Value, ...] = tuple((abs(v), "time", 2) for v in (row.cost_s, *_ordered(row)))
    gained = row.cost_s < 0
    tail = "gained {0} ({1} to {2})" if gained else "cost {0} ({1} to {2})"
    by = _difference(findings, account, row, words)
    if gained:
        head = Text(f"Here this lap did better ({words.label})")
    elif by is None:
        head = Text(f"The driver {words.done}")
    else:
        head = Text(f"The driver {words.done_by}", ((by, words.quantity, words.decimals),))
    against = " against " + label_against(account.against)
    return join_texts([head, Text(f"{tail}{against}.", cost)], ": it " if gained else ", which ")


def _ordered(row: Row) -> tuple[float, float]:
    low, high = (row.low_s, row.high_s) if row.cost_s >= 0 else (-row.high_s, -row.low_s)
    return max(low, 0.0), max(high, 0.0)


def _difference(findings: Findings, account: Account, row: Row, words: CauseWords) -> float | None:
    """How much the action differs from the best passes, if it differs the way the cause says."""
    if account.against != "own_best" or not words.done_by:
        return None
    own = {p.lap: p.actions.get(words.action) for p in findings.passes if p.corner == row.corner}
    mine = own.get(account.lap)
    best = [
        v for lap in findings.best_passes.get(row.corner, ()) if (v := own.get(lap)) is not None
    ]
    if mine is None or not best:
        return None
    by = (mine - float(np.median(best))) * words.sign
    return by if by >= _LEAST.get(words.quantity, 0.0) else None


def say_nothing() -> Text:
    """Say that nothing stands out of the scatter."""
    return Text("No difference that this data can show.")


def say_habit(habit: Habit) -> Text:
    """Say how often a cause came and what it cost each time."""
    how = "A habit" if habit.is_habit else "On some laps"
    values: tuple[Value, ...] = ((habit.share_of_laps, "share"), (habit.mean_cost_s, "time", 2))
    held = label_against(habit.against)
    label = CAUSES[habit.cause].label
    return Text(f"{how}: {label} on {{0}} of the laps, {{1}} each, against {held}.", values)


def say_work(findings: Findings, item: WorkItem) -> dict[str, Any]:
    """Compose one thing to work on: what, the evidence first, goal, tolerance and worth."""
    words = CAUSES[item.cause]
    corner = next(c for c in findings.circuit.corners if c.id == item.corner)
    goal = _goal(findings, item, words)
    tolerance = None
    if goal is not None and item.tolerance is not None and words.quantity in _TOLERATED:
        decimals = words.decimals or (1 if words.quantity == "speed" else 0)
        size = max(2 * item.tolerance, _TOLERATED[words.quantity])
        tolerance = Text("give or take {0}", ((size, words.quantity, decimals),))
    shown = " and ".join(
        [", ".join(quote_name(x) for x in item.shown_by[:-1]), quote_name(item.shown_by[-1])]
        if len(item.shown_by) > 1
        else [quote_name(x) for x in item.shown_by]
    )
    laps = "laps" if len(item.shown_by) > 1 else "lap"
    evidence = Text(f"done on {laps} {shown}") if item.shown_by else None
    name = f" ({quote_name(corner.name)})" if corner.name else ""
    return {
        "corner": item.corner,
        "what": Text(f"Corner {quote_name(item.corner)}{name}: {words.do}").as_view(),
        "evidence": evidence.as_view() if evidence else None,
        "reference": _reference(findings, item, corner),
        "goal": goal.as_view() if goal else None,
        "tolerance": tolerance.as_view() if tolerance else None,
        "worth_s": item.worth_s,
    }


def _reference(findings: Findings, item: WorkItem, corner: Corner) -> dict[str, Any] | None:
    """Say what the action repeats with on these laps, if that is settled."""
    repeat = find_settled(findings, corner).get(item.action or "")
    if repeat is None:
        return None
    return join_texts([Text("it repeats with"), name_reference(repeat)]).as_view()


def _goal(findings: Findings, item: WorkItem, words: CauseWords) -> Text | None:
    if item.goal is None or not words.do_to or item.action != words.action:
        return None
    if words.quantity != "distance":
        return Text(words.do_to, ((item.goal, words.quantity, words.decimals),))
    corner = next(c for c in findings.circuit.corners if c.id == item.corner)
    length = findings.circuit.length_m
    to_apex = (corner.apex_m - item.goal + length / 2) % length - length / 2
    side = "before" if to_apex >= 0 else "after"
    place = words.do_to.replace("at {0}", f"{{0}} {side} the apex")
    return Text(place, ((abs(to_apex), "distance"),))


def list_causes(accounts: Sequence[Account]) -> dict[str, dict[str, str]]:
    """List the causes that occur, with label and meaning."""
    seen = dict.fromkeys(r.cause for a in accounts for r in a.rows)
    return {
        k: {"label": w.label[:1].upper() + w.label[1:], "meaning": w.meaning}
        for k, w in CAUSES.items()
        if k in seen
    }
