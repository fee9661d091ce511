"""Drivers and sessions held against each other: all times are invented, the truth is planted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lapwright.driving.passes import CornerPass
from lapwright.driving.stints import Stints, compare_stints
from lapwright.model.lap import Lap

CORNERS = ("1", "2", "3", "4")
Session = tuple[list[Lap], list[CornerPass]]


def drive(
    driver: str, file: str, many: int, rng: np.random.Generator, sd: float = 0.05,
    offset: dict[str, float] | None = None,
) -> Session:  # fmt: skip
    """Corners of about 5 s with scatter, on straights of 40 s in all."""
    laps, passes = [], []
    for number in range(1, many + 1):
        own = {c: 5.0 + (offset or {}).get(c, 0.0) + sd * rng.standard_normal() for c in CORNERS}
        name = f"{file}:{number}"
        time = 40.0 + sum(own.values())
        laps.append(Lap(name, file, driver, number, "timed", 0.0, time, time, 0.01, True))
        passes += [CornerPass(c, name, t, {}) for c, t in own.items()]
    return laps, passes


def compare(*sessions: Session, dates: dict[str, str] | None = None) -> Stints:
    laps = [lap for session in sessions for lap in session[0]]
    passes = [one for session in sessions for one in session[1]]
    return compare_stints(laps, passes, dates or {})


def test_each_corner_has_its_drivers_the_quickest_first_with_their_best_lap() -> None:
    rng = np.random.default_rng(1)
    found = compare(drive("Ann", "a", 5, rng, offset={"2": 0.4}),
                    drive("Ben", "b", 6, rng, offset={"3": 0.4}))  # fmt: skip
    assert found.drivers == ("Ann", "Ben")
    assert [d.driver for d in found.corners["2"]] == ["Ben", "Ann"]
    assert [d.driver for d in found.corners["3"]] == ["Ann", "Ben"]
    best = found.corners["3"][0]
    assert best.lap.startswith("a:")
    assert best.laps == 5
    assert best.best_s < best.median_s


def test_laps_that_do_not_count_are_in_no_stint() -> None:
    rng = np.random.default_rng(2)
    laps, passes = drive("Ann", "a", 4, rng)
    laps[0] = replace(laps[0], used=False)
    found = compare((laps, passes))
    assert found.stints[0].laps == ("a:2", "a:3", "a:4")
    assert {d.laps for drivers in found.corners.values() for d in drivers} == {3}


def test_a_corner_that_was_learned_is_told_and_the_others_are_not() -> None:
    rng = np.random.default_rng(3)
    found = compare(drive("Ann", "a", 10, rng, offset={"3": 0.3}), drive("Ann", "b", 10, rng))
    told = {c.corner: c.change_s for c in found.changes if c.significant}
    assert set(told) == {"", "3"}
    assert told["3"] == pytest.approx(-0.3, abs=0.06)


def test_stints_are_in_the_order_of_their_days() -> None:
    rng = np.random.default_rng(4)
    late, early = drive("Ann", "late", 4, rng), drive("Ann", "early", 4, rng, offset={"1": 0.5})
    found = compare(late, early, dates={"late": "2031-05-02", "early": "2031-04-12"})
    assert [s.file for s in found.stints] == ["early", "late"]
    change = next(c for c in found.changes if c.corner == "1")
    assert (change.before, change.after) == ("early", "late")
    assert change.change_s < 0
    # without a day, or with one that may be read in two ways, as they were given
    for days in ({"late": "2031-05-02"}, {"late": "05/04/2031", "early": "04/05/2031"}):
        assert [s.file for s in compare(late, early, dates=days).stints] == ["late", "early"]


def test_drivers_are_not_held_against_each_other_as_sessions() -> None:
    rng = np.random.default_rng(5)
    assert compare(drive("Ann", "a", 5, rng), drive("Ben", "b", 5, rng)).changes == ()


def test_two_laps_show_no_change() -> None:
    rng = np.random.default_rng(6)
    assert compare(drive("Ann", "a", 2, rng), drive("Ann", "b", 9, rng)).changes == ()


def test_scatter_alone_is_seldom_told_and_intervals_hold_the_truth() -> None:
    rng = np.random.default_rng(7)
    told, held = [], []
    for _ in range(300):
        one = drive("Ann", "a", 6, rng, offset={"2": 0.1})
        found = compare(one, drive("Ann", "b", 8, rng))
        told.append(any(c.significant for c in found.changes if c.corner in ("1", "3", "4")))
        held += [c.low_s <= -0.1 <= c.high_s for c in found.changes if c.corner == "2"]
    # 10 % for the whole guide (Holm), 90 % each: 300 draws scatter by 1.7 points (1 sd)
    assert np.mean(told) < 0.10
    assert 0.86 < np.mean(held) < 0.97
