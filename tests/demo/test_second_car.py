"""The driver in a published multi-body car (commonroad-vehicle-models, parameter set 2)."""

from dataclasses import replace

import numpy as np
import pytest

from lapwright.demo import DRIVERS, Fault
from lapwright.demo import layout as ly
from lapwright.demo.lap import LapRun
from lapwright.demo.second_car import drive_second_car

DRIVER = replace(DRIVERS["coach"], share=0.88, brake_share=0.9, references=())


def drive(faults: tuple[Fault, ...] = ()) -> LapRun:
    return drive_second_car(DRIVER, 4, 1, faults, 250.0, 1400.0)[0]


@pytest.fixture(scope="module")
def clean() -> LapRun:
    return drive()


def test_it_follows_the_line_without_sliding(clean: LapRun) -> None:
    rows = clean.rows
    planned = np.interp(rows[:, ly.O_S], np.arange(len(clean.plan.v)), clean.plan.line[:-1, 0])
    assert np.abs(rows[:, ly.O_N] - planned).max() < 0.6
    slide = np.arctan2(rows[:, ly.O_VY], rows[:, ly.O_VX])
    assert np.degrees(np.abs(slide)).max() < 8.0
    assert 7.5 < np.abs(rows[:, ly.O_AY]).max() < 10.3  # the model's tyre ends near 1.05 g


def test_braking_early_lies_between_the_closed_forms_in_this_car_too(clean: LapRun) -> None:
    # softer to the same point d (vt − vc) / (vt (vt + vc)); held for all of it d (1/vc − 1/vt)
    run = drive((Fault("early_braking", 3, 1, 10.0),))
    act = next(i for i, a in enumerate(run.acts) if a.corner == 3)
    at = run.events[act, ly.E_BRAKE, 1]
    fast = float(np.interp(at, run.rows[:, ly.O_S], run.rows[:, ly.O_VX]))
    slow = float(run.rows[run.rows[:, ly.O_S] > at, ly.O_VX].min())
    lost = run.seconds - clean.seconds
    assert 10 * (fast - slow) / (fast * (fast + slow)) < lost < 10.5 * (1 / slow - 1 / fast)


def test_a_slower_corner_costs_time_there_and_on_the_straight(clean: LapRun) -> None:
    run = drive((Fault("slow_minimum", 3, 1, 1.5),))
    bend_end = 1045.0

    def parts(rows: np.ndarray) -> np.ndarray:
        marks = np.interp([850.0, bend_end, 1390.0], rows[:, ly.O_S], rows[:, ly.O_T])
        return np.diff(marks)

    corner, after = parts(run.rows) - parts(clean.rows)
    assert corner > 0.05
    assert after > -0.005
    same = int(np.searchsorted(clean.rows[:, ly.O_S], 720.0))
    assert np.array_equal(run.rows[:same], clean.rows[:same])
