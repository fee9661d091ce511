"""A guide's own record: what its reviews promised, and what came, over all of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np

from lapwright.guide.ledger_words import CAUSES
from lapwright.guide.sentences import write_value

View = Mapping[str, Any]
_KEPT: Final = (
    "corner", "cause", "met", "sure", "promised_s", "realised_s", "realised_error_s", "kept",
)  # fmt: skip


def compose_record(
    earlier: Sequence[View], since: Sequence[View], logs: Mapping[str, str], system: View
) -> dict[str, Any]:
    """Put together every goal that was held against laps, in the earlier reviews and here.

    Each review hands on the record of those before it. The same goal held against the
    same log comes once, however many reviews tell of it.

    Parameters
    ----------
    logs
        SHA-256 of each driver's log.
    """
    rows = [dict(g) for review in earlier for g in review["record"]["goals"]]
    rows += [
        {"driver": s["driver"], "log": logs[s["driver"]], **{k: g[k] for k in _KEPT}}
        for s in since for g in s["goals"]
    ]  # fmt: skip
    once = {(r["driver"], r["corner"], r["cause"], r["log"]): r for r in rows}
    goals = list(once.values())
    known = [g for g in goals if g["realised_s"] is not None]
    out: dict[str, Any] = {
        "goals": goals,
        "logs": len({g["log"] for g in goals}),
        "met": sum(g["met"] is True for g in goals),
        "not_met": sum(g["met"] is False for g in goals),
        "not_settled": sum(g["met"] is None for g in goals),
        **_add_up(known),
        "by_cause": [
            {"cause": cause, **_add_up([g for g in known if g["cause"] == cause])}
            for cause in dict.fromkeys(g["cause"] for g in known)
        ],
    }
    return {**out, "text": _say(out, system)}


def _add_up(goals: Sequence[View]) -> dict[str, Any]:
    errors = [float(g["realised_error_s"]) for g in goals]
    return {
        "timed": len(goals),
        "promised_s": sum(float(g["promised_s"]) for g in goals),
        "realised_s": sum(float(g["realised_s"]) for g in goals),
        "realised_error_s": float(np.linalg.norm(errors)),
        "kept": sum(g["kept"] is True for g in goals),
    }


def _say(record: View, system: View) -> list[str]:
    """Say how well the promises of this guide's reviews were kept."""
    if not record["goals"]:
        return ["No goal of this guide's reviews has been held against new laps yet."]
    logs = "one log" if record["logs"] == 1 else f"{record['logs']} logs"
    out = [
        f"{_count(len(record['goals']))} held against new laps in {logs}: "
        f"{record['met']} met, {record['not_met']} not met, {record['not_settled']} not settled."
    ]
    if record["timed"]:
        promised, came, error = (
            write_value(record[k], "time", system, 2)
            for k in ("promised_s", "realised_s", "realised_error_s")
        )
        out.append(
            f"Promised {promised} in all, came {came} ± {error} with the day taken out; "
            f"{record['kept']} of {record['timed']} brought what was promised."
        )
    return out


def say_cause(row: View, system: View) -> tuple[str, str, str, str]:
    """Say a cause's share of the record: its label, goals, promised, came."""
    words = CAUSES.get(str(row["cause"]))
    promised, came, error = (
        write_value(row[k], "time", system, 2)
        for k in ("promised_s", "realised_s", "realised_error_s")
    )
    label = words.label if words else str(row["cause"])
    return label, str(row["timed"]), promised, f"{came} ± {error}"


def _count(number: int) -> str:
    return "One goal was" if number == 1 else f"{number} goals were"
