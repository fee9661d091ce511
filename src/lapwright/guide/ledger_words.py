"""The ledger in words: what each cause means, and what a row cost, in a coach's words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lapwright.driving.action_values import find_middle, subtract, values_of
from lapwright.driving.habits import Habit
from lapwright.driving.ledger_records import (
    FASTEST,
    GUIDE_LAP,
    ON_LINE,
    OWN_BEST,
    Account,
    Row,
)
from lapwright.driving.work_order import WorkItem
from lapwright.guide.document import Findings, Text, Value, join_texts, name_laps, quote_name
from lapwright.guide.reference_names import find_settled, name_reference
from lapwright.model.circuit import Circuit, Corner


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
    OWN_BEST: "own best",
    ON_LINE: "possible on this line",
    FASTEST: "possible on the fastest line",
    GUIDE_LAP: "the guide's lap",
}
#: So many of the laps that have shown something are named.
MOST_SHOWN: Final = 3
#: What so many of the laps do is what is done so far; else the laps are named that do it.
MOSTLY: Final = 0.5
#: Differences of an action smaller than this are not named, in SI units by quantity.
_LEAST: Final = {"distance": 1.0, "acceleration": 0.2, "time": 0.03, "speed": 0.2, "offset": 0.1}
#: Tolerances are no narrower than this, in SI units by quantity.
TOLERATED: Final = {
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
    own = next((a for a in ledger.accounts if a.against == OWN_BEST), None)
    if own is not None:
        sentences.append(
            Text(
                "Own best is the mean of passes from the better third of each corner, so that one "
                "lucky pass does not set it. What is done on every lap cannot be seen against it."
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
    by = find_departure(findings, account, row)
    if gained:
        head = Text(f"Here this lap did better ({words.label})")
    elif by is None:
        head = Text(f"The driver {words.done}")
    else:
        head = Text(f"The driver {words.done_by}", ((by, words.quantity, words.decimals),))
    against = " against " + label_against(account.against)
    said = join_texts([head, Text(f"{tail}{against}.", cost)], ": it " if gained else ", which ")
    return join_texts([said, _say_alike(row)]) if row.merged else said


def _say_alike(row: Row) -> Text:
    """Say which other causes these channels cannot tell from the one named."""
    others = " or ".join(CAUSES[cause].label for cause in row.merged)
    return Text(f"Without the channels that are missing it may as well be: {others}.")


def _ordered(row: Row) -> tuple[float, float]:
    low, high = (row.low_s, row.high_s) if row.cost_s >= 0 else (-row.high_s, -row.low_s)
    return max(low, 0.0), max(high, 0.0)


def find_departure(findings: Findings, account: Account, row: Row) -> float | None:
    """How much the action differs from the best passes, if it differs the way the cause says.

    None for what is not significant, and for another comparison.
    """
    words = CAUSES.get(row.cause)
    if words is None or not row.significant or row.cost_s < 0:
        return None
    if account.against != OWN_BEST or not words.done_by:
        return None
    own = values_of(findings.passes, row.corner, words.action)
    best = [own[lap] for lap in findings.best_passes.get(row.corner, ()) if lap in own]
    if account.lap not in own or not best:
        return None
    length = findings.circuit.length_m
    middle = find_middle(best, words.action, length)
    by = words.sign * subtract(own[account.lap], middle, words.action, length)
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
    goal = say_goal(findings.circuit, corner, item.cause, item.action, item.goal)
    tolerance = None
    if goal is not None and item.tolerance is not None and words.quantity in TOLERATED:
        decimals = words.decimals or (1 if words.quantity == "speed" else 0)
        size = max(2 * item.tolerance, TOLERATED[words.quantity])
        tolerance = Text("give or take {0}", ((size, words.quantity, decimals),))
    so_far = _say_so_far(findings, corner, item) if goal is not None else None
    evidence = _say_evidence(item)
    name = f" ({quote_name(corner.name)})" if corner.name else ""
    return {
        "corner": item.corner,
        "what": Text(f"Corner {quote_name(item.corner)}{name}: {words.do}").as_view(),
        "evidence": evidence.as_view() if evidence else None,
        "reference": _reference(findings, item, corner),
        "goal": goal.as_view() if goal else None,
        "tolerance": tolerance.as_view() if tolerance else None,
        "so_far": so_far.as_view() if so_far else None,
        "worth": _say_worth(item).as_view(),
        "worth_s": item.worth_s,
    }


def _say_so_far(findings: Findings, corner: Corner, item: WorkItem) -> Text | None:
    """Say what the laps that lose time here do, and which they are unless most do."""
    words = CAUSES[item.cause]
    if item.today is None:
        return None
    said = "so far {0}"
    if item.share_of_laps < MOSTLY:
        driven = {lap.id: i for i, lap in enumerate(findings.laps)}
        said = f"against {{0}} on {name_laps(sorted(item.laps, key=lambda i: driven.get(i, 0)))}"
    if words.quantity == "distance" and "at {0}" in words.do_to:
        return say_place(findings.circuit, corner, said, item.today)
    return Text(said, ((item.today, words.quantity, words.decimals),))


def _say_worth(item: WorkItem) -> Text:
    """Say what the item is worth on a middle lap, with its interval where that leaves room."""
    worth, low, high = (max(v, 0.0) for v in (item.worth_s, item.low_s, item.high_s))
    values: tuple[Value, ...] = tuple((v, "time", 2) for v in (worth, low, high))
    if not low <= worth <= high:
        return Text("worth about {0} a lap", values[:1])
    return Text("worth about {0} a lap ({1} to {2})", values)


def _reference(findings: Findings, item: WorkItem, corner: Corner) -> dict[str, Any] | None:
    """Say what the action repeats with on these laps, if that is settled."""
    repeat = find_settled(findings, corner).get(item.action or "")
    if repeat is None:
        return None
    return join_texts([Text("it repeats with"), name_reference(repeat)]).as_view()


def _say_evidence(item: WorkItem) -> Text | None:
    """Say which laps have shown it; what none has shown is called computed."""
    laps = item.shown_by[:MOST_SHOWN]
    if item.against != OWN_BEST:
        return Text("computed for this car, shown by no lap")
    if not laps:
        return None
    return Text(f"done on {name_laps(laps)}")


def say_goal(
    circuit: Circuit, corner: Corner, cause: str, action: str | None, goal: float | None
) -> Text | None:
    """Say what to reach; a place is told from the apex. None where no action carries it."""
    words = CAUSES[cause]
    if goal is None or not words.do_to or action != words.action:
        return None
    if words.quantity != "distance":
        return Text(words.do_to, ((goal, words.quantity, words.decimals),))
    return say_place(circuit, corner, words.do_to.replace("at {0}", "{0}"), goal)


def say_place(circuit: Circuit, corner: Corner, template: str, place_m: float) -> Text:
    """Tell a place from the corner's apex, in the template's one hole."""
    half = circuit.length_m / 2
    to_apex = (corner.apex_m - place_m + half) % circuit.length_m - half
    side = "before" if to_apex >= 0 else "after"
    place = template.replace("{0}", f"{{0}} {side} the apex")
    return Text(place, ((abs(to_apex), "distance"),))


def list_causes(accounts: Sequence[Account]) -> dict[str, dict[str, str]]:
    """List the causes that occur, with label and meaning."""
    seen = dict.fromkeys(r.cause for a in accounts for r in a.rows)
    return {
        k: {"label": w.label[:1].upper() + w.label[1:], "meaning": w.meaning}
        for k, w in CAUSES.items()
        if k in seen
    }
