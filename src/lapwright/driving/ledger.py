"""The ledger: every lap's account of time, by corner and by cause, that adds up.

The difference to what a lap is held against is split by stretch (`ledger_stretches`), in a
stretch by element (`redrive`), and elements are booked to causes (`booking`); one lap's rows
are made in `ledger_account`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from lapwright.driving.ledger_account import make_account
from lapwright.driving.ledger_bases import Bases, choose_own_bests, find_usual
from lapwright.driving.ledger_entries import Comparer
from lapwright.driving.ledger_records import OWN_BEST, Account, Against, Ledger, Row
from lapwright.driving.ledger_scatter import Scatter
from lapwright.driving.ledger_stretches import cut_lap
from lapwright.driving.ledger_traces import LedgerTrace, build_traces
from lapwright.driving.passes import CornerPass
from lapwright.driving.redrive_pass import Motor
from lapwright.model.circuit import Circuit
from lapwright.model.lap import Lap

__all__ = ["Account", "Against", "Ledger", "Row", "find_ledger"]


def find_ledger(
    circuit: Circuit,
    laps: Sequence[Lap],
    passes: Sequence[CornerPass],
    *,
    motor: Motor | None = None,
    computed: Mapping[Against, Mapping[str, LedgerTrace]] | None = None,
    driven: Mapping[Against, Mapping[str, LedgerTrace]] | None = None,
    against_laps: Sequence[str] = (),
    report: Callable[[str, int, int], None] = lambda *_: None,
) -> Ledger:
    """Account for every lap that counts against the driver's own best, and more if asked.

    Parameters
    ----------
    motor
        Power and drag of the car, for how a lack of speed fades; usual ones without.
    computed
        Computed laps to hold laps against: by comparison, then by the lap held against it.
    driven
        Laps driven by somebody else to hold laps against, keyed as ``computed``.
    against_laps
        Laps that all others are held against, as ``lap:ID``.

    Returns
    -------
    Ledger
        Without accounts when fewer than two laps count and nothing was computed.
    """
    traces = build_traces(circuit, laps)
    stretches = cut_lap(circuit, traces, passes)
    if not traces or not stretches:
        return Ledger((), np.zeros(0), ())
    step = circuit.length_m / (traces[0].time.size - 1)
    compare = Comparer(stretches, step, motor or Motor(), find_usual(stretches, traces))
    made: list[Account] = []
    if len(traces) > 1:
        report("accounting for every lap", 0, 1)
        made += _against(compare, OWN_BEST, traces, choose_own_bests(stretches, traces))
    for others_laps, is_computed in ((computed or {}, True), (driven or {}, False)):
        for name, bases in others_laps.items():
            one = {t.lap: [[bases[t.lap]]] * len(stretches) for t in traces if t.lap in bases}
            held = [t for t in traces if t.lap in one]
            made += _against(compare, name, held, one, computed=is_computed)
    by_id = {t.lap: t for t in traces}
    for lap in against_laps:
        others = [t for t in traces if t.lap != lap]
        made += _against(
            compare, f"lap:{lap}", others, {t.lap: [[by_id[lap]]] * len(stretches) for t in others}
        )
    places = np.linspace(0.0, circuit.length_m, traces[0].time.size)
    return Ledger(tuple(made), places, stretches, traces)


def _against(
    compare: Comparer,
    name: Against,
    traces: Sequence[LedgerTrace],
    bases: Bases,
    *,
    computed: bool = False,
) -> list[Account]:
    """Make all laps' accounts of one comparison, then tell what the scatter allows to say."""
    entries = {
        t.lap: [compare.entry(t, bases[t.lap][i], s) for i, s in enumerate(compare.stretches)]
        for t in traces
    }
    scatter = Scatter(
        [[e.split for e in own] for own in entries.values()],
        centred=name == OWN_BEST, computed=computed,
    )  # fmt: skip
    return [
        make_account(compare.stretches, name, t, bases[t.lap][0], entries[t.lap], scatter)
        for t in traces
    ]
