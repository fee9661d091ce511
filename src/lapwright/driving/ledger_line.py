"""Laps against the fastest line: what was possible on their own line, and the line itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from lapwright.driving.ledger import Account, Row
from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.ledger_traces import LedgerTrace

#: What computed times of two lines have wrong of their difference: a share, and s a corner.
WRONG_SHARE, WRONG_S = 0.25, 0.03


def add_line_costs(
    accounts: Sequence[Account], stretches: Sequence[Stretch],
    own_lines: Mapping[str, LedgerTrace], fastest: LedgerTrace, step_m: float, against: str,
) -> tuple[Account, ...]:  # fmt: skip
    """Hold laps against the fastest line by way of what was possible on their own line.

    Lap less fastest = (lap less own line) + (own line less fastest): the second part is the
    line's, computed for one car on both lines, so no element of the driving is mistaken for it.

    Parameters
    ----------
    accounts
        Of the laps against what was possible on their own line.
    own_lines
        The computed laps on these lines, by lap.
    against
        How the comparison is called.
    """
    return tuple(
        _account(a, stretches, own_lines[a.lap], fastest, step_m, against)
        for a in accounts
        if a.lap in own_lines
    )


def _account(
    account: Account, stretches: Sequence[Stretch], own: LedgerTrace, fastest: LedgerTrace,
    step_m: float, against: str,
) -> Account:  # fmt: skip
    longer = own.time - fastest.time
    rows = [*account.rows]
    total = float(longer[-1] - longer[0])
    straight = account.straight_s + total
    for stretch in stretches:
        cost = float(longer[stretch.last] - longer[stretch.first])
        straight -= cost
        wide = float(np.hypot(WRONG_SHARE * cost, WRONG_S))
        at = next(
            (i for i, r in enumerate(rows) if (r.corner, r.cause) == (stretch.corner.id, "line")),
            None,
        )
        if at is None:
            places = step_m * stretch.first, step_m * stretch.last
            line = Row(
                stretch.corner.id, "line", cost, cost - wide, cost + wide, abs(cost) > wide, *places
            )
            rows.append(line)
            continue
        old = rows[at]
        both = old.cost_s + cost
        rows[at] = replace(
            old, cost_s=both, low_s=old.low_s + cost - wide, high_s=old.high_s + cost + wide,
            significant=old.significant or abs(both) > wide,
        )  # fmt: skip
    return Account(
        account.lap, against, account.difference_s + total, straight, tuple(rows),
        account.lost_s + longer - longer[0],
    )  # fmt: skip
