"""Who drove, and what came of it: several drivers or sessions in sentences and records."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from lapwright.driving.stints import Change, DriverInCorner, Stint, Stints
from lapwright.guide.document import Findings, Text, quote_name

#: A lead in a corner that is worth a sentence, s.
_WORTH_SAYING_S: Final = 0.02
#: So many corners are named; the others stand in the file.
_MOST_CORNERS: Final = 5


def compose_stint_words(findings: Findings) -> dict[str, Any] | None:
    """Compose who drove what, whose corners are best and what changed; None for one stint."""
    found = findings.stints
    if found is None or len(found.stints) < 2:
        return None
    texts = [_say_stint(stint, found) for stint in found.stints]
    if len(found.drivers) > 1:
        texts += [_say_followed(findings), *_say_bests(findings, found)]
    texts += _say_changes(found.changes)
    return {
        "title": "Who drove" if len(found.drivers) > 1 else "From session to session",
        "sentences": [text.as_view() for text in texts],
    }


def compose_stints(findings: Findings) -> dict[str, Any]:
    """Compose the fields of ``guide.json``; empty where one driver drove once."""
    found = findings.stints
    if found is None:
        return {"stints": [], "corner_drivers": [], "changes": []}
    return {
        "stints": [
            {"driver": s.driver, "file": s.file, "date": s.date or None, "laps": list(s.laps),
             "best_time_s": s.best_s, "median_time_s": s.median_s, "time_spread_s": s.spread_s}
            for s in found.stints
        ],
        "corner_drivers": [
            {"corner": corner, "driver": one.driver, "best_lap": one.lap,
             "best_time_s": one.best_s, "median_time_s": one.median_s, "n": one.laps}
            for corner, drivers in found.corners.items() for one in drivers
        ],
        "changes": [
            {"driver": c.driver, "from_file": c.before, "to_file": c.after,
             "corner": c.corner or None, "change_s": c.change_s, "low_s": c.low_s,
             "high_s": c.high_s, "significant": c.significant}
            for c in found.changes
        ],
    }  # fmt: skip


def _name(driver: str) -> str:
    return quote_name(driver) if driver else "A driver without a name"


def _say_stint(stint: Stint, found: Stints) -> Text:
    when = f", {quote_name(stint.date)}" if stint.date else ""
    several = sum(s.driver == stint.driver for s in found.stints) > 1
    where = f" ({quote_name(stint.file)}{when})" if several or when else ""
    count = (float(len(stint.laps)), "count")
    if len(stint.laps) == 1:
        return Text(f"{_name(stint.driver)}{where}: one lap, {{0}}.", ((stint.best_s, "lap_time"),))
    return Text(
        f"{_name(stint.driver)}{where}: {{0}} laps, best {{1}}, median {{2}}.",
        (count, (stint.best_s, "lap_time"), (stint.median_s, "lap_time")),
    )


def _say_followed(findings: Findings) -> Text:
    driver = next(lap.driver for lap in findings.laps if lap.id == findings.chosen_lap)
    return Text(
        f"This guide follows {_name(driver)}: all that it says of how the circuit is driven is "
        "of these laps alone."
    )


def _say_bests(findings: Findings, found: Stints) -> list[Text]:
    """Say in how many corners the driver followed is quickest, who leads in the others."""
    followed = next(lap.driver for lap in findings.laps if lap.id == findings.chosen_lap)
    shared = [(c, d) for c in findings.circuit.corners if len(d := found.corners.get(c.id, ())) > 1]
    if not shared:
        return []
    own = sum(drivers[0].driver == followed for _, drivers in shared)
    out = [
        Text(
            f"In the middle of the laps {_name(followed)} is quickest in {{0}} of {{1}} corners.",
            ((float(own), "count"), (float(len(shared)), "count")),
        )
    ]
    leads = sorted(
        ((_lead(drivers, followed), corner, drivers[0]) for corner, drivers in shared),
        key=lambda x: -x[0],
    )
    out += [
        Text(
            f"Corner {quote_name(corner.name or corner.id)} is {_name(best.driver)}'s, by {{0}}: "
            f"the best of these passes is that of lap {quote_name(best.lap)}.",
            ((lead, "time", 2),),
        )
        for lead, corner, best in leads[:_MOST_CORNERS]
        if lead >= _WORTH_SAYING_S
    ]
    gain = sum(max(_of(d, followed) - min(x.best_s for x in d), 0.0) for _, d in shared)
    if gain >= _WORTH_SAYING_S:
        out.append(
            Text(
                f"With the best pass of any driver in each corner {_name(followed)} would gain "
                "{0}; nobody has driven these passes in one lap.",
                ((gain, "time", 2),),
            )
        )
    return out


def _lead(drivers: Sequence[DriverInCorner], followed: str) -> float:
    """By how much the quickest is ahead of the driver followed, s; 0 where that is he."""
    his = next((d.median_s for d in drivers if d.driver == followed), drivers[0].median_s)
    return his - drivers[0].median_s


def _of(drivers: Sequence[DriverInCorner], driver: str) -> float:
    return next((d.best_s for d in drivers if d.driver == driver), 0.0)


def _say_changes(changes: tuple[Change, ...]) -> list[Text]:
    out = []
    for whole in (c for c in changes if not c.corner):
        same = [c for c in changes if (c.driver, c.after) == (whole.driver, whole.after)]
        told = [c for c in same if c.corner and c.significant]
        lead = f"{_name(whole.driver)}, {quote_name(whole.before)} to {quote_name(whole.after)}: "
        if not whole.significant and not told:
            out.append(Text(f"{lead}no difference that these laps can show."))
            continue
        sizes = ((abs(whole.change_s), "time", 2), (whole.high_s - whole.change_s, "time", 2))
        if whole.significant:
            out.append(Text(f"{lead}{_way(whole)} by {{0}} a lap (± {{1}}).", sizes))
        else:
            out.append(Text(f"{lead}no difference in the lap that these laps can show."))
        out += [
            Text(
                f"Corner {quote_name(c.corner)}: {_way(c)} by {{0}} (± {{1}}).",
                ((abs(c.change_s), "time", 2), (c.high_s - c.change_s, "time", 2)),
            )
            for c in sorted(told, key=lambda c: -abs(c.change_s))[:_MOST_CORNERS]
        ]
        out.append(
            Text("Tyres, fuel, weather and road are in it: it is what changed, not why it did.")
        )
    return out


def _way(change: Change) -> str:
    return "quicker" if change.change_s < 0 else "slower"
