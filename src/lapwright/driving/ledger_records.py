"""The ledger's records: rows, the account of one lap, all accounts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lapwright.driving.ledger_stretches import Stretch
from lapwright.driving.ledger_traces import LedgerTrace

Array = NDArray[np.float64]
#: What a lap is held against: one of these, or ``lap:ID``.
Against = str
OWN_BEST, ON_LINE, FASTEST, GUIDE_LAP = (
    "own_best", "possible_on_line", "possible_on_fastest_line", "guide_lap",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """One booked amount: s lost (gains below zero), with its 90 % interval.

    ``merged`` lists causes that these channels cannot tell from ``cause``.
    """

    corner: str
    cause: str
    cost_s: float
    low_s: float
    high_s: float
    significant: bool
    from_m: float
    to_m: float
    merged: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Account:
    """One lap against something: rows and ``straight_s`` add up to ``difference_s``.

    ``lost_s`` is the time lost since the start line at the ledger's samples, (k + 1,).
    """

    lap: str
    against: Against
    difference_s: float
    straight_s: float
    rows: tuple[Row, ...]
    lost_s: Array


@dataclass(frozen=True, slots=True)
class Ledger:
    """All accounts, the places (m) of their ``lost_s``, and the laps as they were compared."""

    accounts: tuple[Account, ...]
    places: Array
    stretches: tuple[Stretch, ...]
    traces: tuple[LedgerTrace, ...] = ()
