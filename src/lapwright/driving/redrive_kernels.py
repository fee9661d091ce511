"""The compiled loop of re-driving a corner with elements of another lap."""

# mypy: disable-error-code="no-untyped-def,no-untyped-call,no-any-return"
from __future__ import annotations

import numpy as np
from numba import njit

#: Elements of a pass through a corner, in the order in which they come.
(
    APPROACH, COAST, PLACE, LEVEL, RELEASE, LINE, DRAG, PICK_UP, BUILD, DIP,
) = range(10)  # fmt: skip
ELEMENTS = 10
_SLOWEST_W = 2.0  # m²/s²: half of v², below which nobody drives


@njit(cache=True)
def speeds(
    chosen, shift, levels, starts, tail, tail_change, approach, approach_change, energy, pushes,
    decay, turn, speed_turn, speed_turn_other, line_share, out,
):  # fmt: skip
    """Speed (m/s) at every metre with the chosen elements put in; fills ``out``.

    ``starts`` are the places at which the base lap, slowing, passes each of the rising
    ``levels``; ``shift`` (elements, levels) moves them. From the lowest level to the turn
    ``tail`` says how far the speed lies above a straight line, and ``tail_change`` by how much
    the other lap's lies higher. Before ``turn`` the car follows the
    lower of the approach and that curve, after it energy over mass: that of the base lap,
    what it brings along from the turn (which ``decay`` thins out), and ``pushes``
    (elements, metres).
    """
    size, count = out.size, levels.size
    into = 0.0  # how much of the other lap's way into the minimum is driven
    if chosen[RELEASE]:
        into += 1.0 - line_share
    if chosen[LINE]:
        into += line_share
    place = np.empty(count)
    for i in range(count):
        x = starts[i] + into * shift[RELEASE, i]
        for k in (COAST, PLACE, LEVEL):
            if chosen[k]:
                x += shift[k, i]
        place[i] = x
    for i in range(count - 2, -1, -1):  # a lower speed comes no earlier than a higher one
        place[i] = max(place[i], place[i + 1])
    left = place[0]
    at_turn = speed_turn + into * (speed_turn_other - speed_turn)
    j = count - 1
    for i in range(turn + 1):
        while j > 0 and place[j - 1] <= i:
            j -= 1
        if i < place[count - 1]:
            v = 1e3
        elif j == 0:
            v = levels[0]
        else:
            wide = place[j - 1] - place[j]
            part = (i - place[j]) / wide if wide > 1e-9 else 1.0
            v = levels[j] + part * (levels[j - 1] - levels[j])
        if i == turn and left > turn:
            at_turn = max(at_turn, v)
        if i > left:
            part = min((i - left) / max(turn - left, 1.0), 1.0)
            k = int(part * (tail.size - 1))
            v = levels[0] + (at_turn - levels[0]) * part + tail[k] + into * tail_change[k]
        before = approach[i]
        if chosen[APPROACH]:
            before += approach_change[i]
        out[i] = min(v, before)
    brought = 0.5 * (at_turn**2 - speed_turn**2)
    for i in range(turn + 1, size):
        w = energy[i] + brought * decay[i]
        for k in (DRAG, PICK_UP, BUILD, DIP):
            if chosen[k]:
                w += pushes[k, i]
        out[i] = np.sqrt(2 * max(w, _SLOWEST_W))


@njit(cache=True)
def redrive_times(
    sets, shift, levels, starts, tail, tail_change, approach, approach_change, energy, pushes,
    decay, turn, speed_turn, speed_turn_other, line_share, length, length_other,
):  # fmt: skip
    """Seconds through the stretch for each of the ``sets``, whose bit i puts element i in.

    ``length`` is metres driven for each metre of road, of the base lap and of the other.
    """
    size = energy.size
    times = np.empty(sets.size)
    chosen = np.zeros(ELEMENTS, dtype=np.bool_)
    v = np.empty(size)
    for code in range(sets.size):
        for i in range(ELEMENTS):
            chosen[i] = (sets[code] >> i) & 1 == 1
        speeds(
            chosen, shift, levels, starts, tail, tail_change, approach, approach_change, energy,
            pushes, decay, turn, speed_turn, speed_turn_other, line_share, v,
        )  # fmt: skip
        total = 0.0
        for i in range(size):
            driven = length_other[i] if chosen[LINE] else length[i]
            weight = 0.5 if i == 0 or i == size - 1 else 1.0
            total += weight * driven / max(v[i], 1.0)
        times[code] = total
    return times
