"""What is possible for the car that these laps showed: all of it, or why not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lapwright.errors import LapwrightError, NoAnswerError
from lapwright.model.build_circuit import curve_of
from lapwright.model.car import Car, Limit, Measures
from lapwright.model.circuit import Circuit
from lapwright.model.fit_car import CarFit, fit_car
from lapwright.model.lap import Lap, Track, knows_line
from lapwright.numerics.curves import points_at
from lapwright.possible.fastest_line import FastestLine, build_line_path, solve_fastest_line
from lapwright.possible.flat_out import (
    FlatMargin,
    LoadShare,
    find_flat_margins,
    find_loads,
    load_along,
)
from lapwright.possible.own_lines import close_line
from lapwright.possible.path import Path, build_path_over
from lapwright.possible.speed_profile import solve_speed_profile
from lapwright.possible.worth import RoadWorth, find_zones, move_edge, price_road, price_unused

Array = NDArray[np.float64]

#: Kept from each edge by the middle of the car, more where the car is wider: half of a usual
#: car's width, an assumption.
KEPT_M = 0.9
RESAMPLES = 40
#: Parts of a car that have intervals of their own.
_PARTS = ("lateral", "brake", "drive", "exponent", "power_per_mass", "drag_per_mass", "rolling")
#: Unused road is priced by a solve of its own, in the zones where it promises most.
PRICED_ZONES, PRICED_FROM_S = 6, 0.01
#: A car that cannot drive the lap that it was found from, by this share, is not believed.
SLOWER_THAN_DRIVEN = 0.005


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 90 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class WhatIsPossible:
    """What these laps' car could do; parts without an answer are None or empty.

    Parameters
    ----------
    fit
        What the laps showed of the car; None where no lap could be used or one was given.
    car
        As given or found; None where the laps do not show enough of it.
    on_line_s, on_fastest_line_s
        Lap times on the chosen lap's own line and on the fastest line, in that lap's
        conditions, with the intervals that the car's own give.
    fastest, load
        The fastest line, and the share of the weight gained or lost along it, node by node.
    worths
        By corner and zone, from `price_possible`. ``unused_worth_s`` only where it was worth
        a solve.
    margins, loads
        By corner, on the fastest line.
    why_null
        Why ``fastest`` and what follows from it is missing; empty otherwise.
    """

    fit: CarFit | None
    car: Car | None = None
    on_line_s: Estimate | None = None
    on_fastest_line_s: Estimate | None = None
    fastest: FastestLine | None = None
    load: Array | None = None
    worths: tuple[RoadWorth, ...] = ()
    margins: tuple[FlatMargin, ...] = ()
    loads: tuple[LoadShare, ...] = ()
    why_null: str = ""


def find_possible(
    circuit: Circuit,
    laps: Sequence[Lap],
    chosen: Lap,
    *,
    car: Car | None = None,
    measures: Measures | None = None,
    report: Callable[[str, int, int], None] = lambda *_: None,
) -> WhatIsPossible:
    """Find the car from the laps, then what it could do on the chosen lap's line and at best.

    Parameters
    ----------
    chosen
        The lap whose line is driven again.
    car
        Given instead of found.
    measures
        Of a car that is found.
    report
        Called with what is being done.

    Returns
    -------
    WhatIsPossible
        Nothing is raised for what cannot be worked out: the reason stands in it.
    """
    fit: CarFit | None = None
    known = car
    try:
        report("finding the car in its laps", 0, 1)
        fit = fit_car(laps, circuit, resamples=RESAMPLES) if car is None else None
        known = car or (fit.needed_car() if fit else None)
        if known is not None and measures is not None:
            known = measures.put_on(known)
        if known is None or chosen.track is None:
            raise NoAnswerError("No car and no line to drive it on")
        if not knows_line(chosen.track.n_sd):
            raise NoAnswerError("The positions are not good enough to tell a line")
        line = _driven_line(circuit, chosen.track)
        there = _in_conditions(fit, known, chosen)
        on_line = _estimate(line, there)
        _check_explains(on_line.value, chosen)
        report("working out the fastest line", 0, 1)
        margin = max(KEPT_M - there.width_m / 2, 0.0)
        fastest = solve_fastest_line(circuit, there, margin_m=margin)
    except LapwrightError as error:
        return WhatIsPossible(fit, known, why_null=str(error))
    path = build_line_path(circuit, fastest)
    low, high = _at_ends(there)
    best = _estimate(path, there)
    shift = fastest.time_s - best.value  # the profile on the line against the line's own time
    return WhatIsPossible(
        fit=fit,
        car=known,
        on_line_s=on_line,
        on_fastest_line_s=Estimate(fastest.time_s, best.low + shift, best.high + shift),
        fastest=fastest,
        load=load_along(path, there, fastest.v) if circuit.has_heights else None,
        margins=tuple(
            find_flat_margins(path, there, circuit.corners, circuit.length_m, (low, high))
        ),
        loads=tuple(find_loads(path, there, fastest.v, circuit.corners, circuit.length_m))
        if circuit.has_heights
        else (),
    )


def _driven_line(circuit: Circuit, track: Track) -> Path:
    return build_path_over(circuit, *points_at(curve_of(circuit), *_offsets(circuit, track)))


def _offsets(circuit: Circuit, track: Track) -> tuple[Array, Array]:
    return circuit.s, close_line(circuit, track)


def _estimate(path: Path, car: Car) -> Estimate:
    """Lap time with its interval: every value to its ends by itself, taken together as squares.

    The usual propagation of independent errors; power and drag go together in a fit, which
    makes it wider than need be.
    """
    time = solve_speed_profile(path, car).time_s
    less = more = 0.0
    for part in _PARTS:
        only = {k: v for k, v in car.intervals.items() if k.split(".")[0] == part}
        if not only:
            continue
        one = replace(car, intervals=only)
        ends = [solve_speed_profile(path, c).time_s - time for c in _at_ends(one)]
        less, more = less + min(*ends, 0.0) ** 2, more + max(*ends, 0.0) ** 2
    return Estimate(time, time - less**0.5, time + more**0.5)


def _check_explains(on_line_s: float, lap: Lap) -> None:
    if lap.time_s is not None and on_line_s > (1 + SLOWER_THAN_DRIVEN) * lap.time_s:
        raise NoAnswerError(
            f"The car found would need {on_line_s:.2f} s on the line of lap {lap.id}, which took "
            f"{lap.time_s:.2f} s: these laps do not show enough of it"
        )


def _at_ends(car: Car) -> tuple[Car, Car]:
    """Return the car with every value at the bad, and at the good end of its interval."""
    return _at_end(car, good=False), _at_end(car, good=True)


def _at_end(car: Car, *, good: bool) -> Car:
    def end(name: str, value: float, more_is_better: bool = True) -> float:
        low, high = car.intervals.get(name, (value, value))
        return high if good == more_is_better else low

    def limit(name: str, one: Limit) -> Limit:
        if name in car.intervals and "lateral" in car.support:
            now = one.at_rest + one.per_v2 * car.middle_speed(name) ** 2
            return one.scaled(end(name, now) / now, 1.0)
        return replace(
            one,
            at_rest=end(f"{name}.at_rest", one.at_rest),
            per_v2=max(0.0, end(f"{name}.per_v2", one.per_v2)),
        )

    return replace(
        car,
        lateral=limit("lateral", car.lateral),
        brake=limit("brake", car.brake),
        drive=limit("drive", car.drive),
        exponent=float(np.clip(end("exponent", car.exponent), 1.0, 2.0)),
        power_per_mass=end("power_per_mass", car.power_per_mass),
        drag_per_mass=max(0.0, end("drag_per_mass", car.drag_per_mass, more_is_better=False)),
        rolling=max(0.0, end("rolling", car.rolling, more_is_better=False)),
    )


def _in_conditions(fit: CarFit | None, car: Car, lap: Lap) -> Car:
    return car if fit is None else fit.on(lap.id, car)


def price_possible(circuit: Circuit, chosen: Lap, what: WhatIsPossible) -> tuple[RoadWorth, ...]:
    """Price the road in all zones, and what was left unused where it promises most.

    This takes longer than all else of `find_possible`, most of it in a solver that lets other
    threads run; nothing else needs the prices but who tells them.

    Returns
    -------
    tuple of RoadWorth
        For ``worths``; empty without a fastest line.
    """
    fastest = what.fastest
    if fastest is None or what.car is None or chosen.track is None:
        return ()
    car = _in_conditions(what.fit, what.car, chosen)
    _, driven = _offsets(circuit, chosen.track)
    keep = car.width_m / 2 + fastest.margin_m
    worths = [
        replace(w, unused_m=move_edge(circuit, w.zone, driven, keep)[1])
        for w in price_road(circuit, fastest, find_zones(circuit, fastest))
    ]
    promise = [w.s_per_m * (w.unused_m or 0.0) for w in worths]
    order = sorted(range(len(worths)), key=lambda i: -promise[i])[:PRICED_ZONES]
    for i in order:
        if promise[i] >= PRICED_FROM_S:
            worths[i] = price_unused(circuit, car, fastest, [worths[i].zone], driven)[0]
    return tuple(worths)
