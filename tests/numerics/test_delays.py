import numpy as np
import pytest

from lapwright.numerics.delays import Comparison, Series, align_delays, find_delay

LATE_S = 0.15


def pedals_of(truth, rate):
    """Invented pedals that act at once: drive and braking of the planted acceleration."""
    time = np.arange(0.0, truth.time[-1], 1.0 / rate)
    a, v = truth.at("acceleration_forward", time), truth.at("speed", time)
    return {
        "throttle": Series(time, np.clip(a, 0.0, None) / np.clip(350.0 / v, 3.0, 7.0)),
        "brake": Series(time, np.clip(-a, 0.0, None) / 13.0),
    }


def test_a_planted_shift_is_found_to_a_fraction_of_a_step():
    rng = np.random.default_rng(0)
    time = np.arange(6000) * 0.02
    waves = [(rng.uniform(0.1, 0.8), rng.uniform(0, 6)) for _ in range(8)]

    def signal(t):
        return sum(np.sin(2 * np.pi * f * t + p) for f, p in waves)

    # the second source shows at t what happened 0.137 s before
    late = 3.0 + 2.0 * signal(time - 0.137) + 0.3 * rng.standard_normal(time.size)
    pair = Comparison(signal(time), np.zeros((0, time.size)), late[None])
    found = find_delay([pair], 0.02, "planted")
    assert found.identifiable
    assert found.delay_s == pytest.approx(0.137, abs=max(4 * found.sd, 0.002))
    assert found.sd < 0.003


def test_noise_is_not_given_a_delay():
    rng = np.random.default_rng(1)
    a, b = rng.standard_normal((2, 6000))
    found = find_delay([Comparison(a, np.zeros((0, 6000)), b[None])], 0.02, "noise")
    assert not found.identifiable
    assert found.delay_s == 0.0
    assert found.sd == np.inf


@pytest.mark.parametrize(("rate", "sd"), [(10, 0.5), (10, 0.02), (25, 0.1), (100, 0.02)])
def test_position_behind_imu_and_pedals(lap, measure, rate, sd):
    series = {n: measure(lap, n, rate, sd, 1, late=LATE_S) for n in ("x", "y")}
    series["acceleration_forward"] = measure(lap, "acceleration_forward", 100, 0.3, 1)
    series["acceleration_left"] = measure(lap, "acceleration_left", 100, 0.3, 1)
    found = align_delays({**series, **pedals_of(lap, 50)})
    assert found["pedals"].delay_s == 0.0
    assert found["imu"].identifiable
    assert found["position"].identifiable
    assert found["position"].delay_s == pytest.approx(LATE_S, abs=0.02)
    assert abs(found["position"].delay_s - LATE_S) < 3.0 * found["position"].sd
    assert "position against imu" in found["position"].evidence


@pytest.mark.parametrize(("rate", "sd"), [(10, 0.5), (25, 0.1), (100, 0.02)])
@pytest.mark.parametrize("with_speed", [True, False])
def test_position_behind_pedals_without_an_imu(lap, measure, rate, sd, with_speed):
    series = {n: measure(lap, n, rate, sd, 1, late=LATE_S) for n in ("x", "y")}
    if with_speed:
        series["speed"] = measure(lap, "speed", 50, 0.05, 1)
    found = align_delays({**series, **pedals_of(lap, 50)})["position"]
    assert found.identifiable
    # The planted pedals act at once; a real car answers some 0.02 s later, which is taken off.
    slack = 0.02 if with_speed else 0.02 + 0.02
    assert found.delay_s == pytest.approx(LATE_S, abs=slack)


@pytest.mark.parametrize("named", ["speed", "x"])
def test_the_look_lies_where_the_car_is_driven(lap, measure, named):
    """Half an hour of standing before and after the laps says nothing of a delay."""
    series = {n: measure(lap, n, 10, 0.02, 1, late=LATE_S) for n in ("x", "y")}
    if named == "speed":
        series["speed"] = measure(lap, "speed", 50, 0.05, 1)
    series |= pedals_of(lap, 50)

    def stand(s):
        step = float(np.median(np.diff(s.time)))
        before = s.time[0] - step * np.arange(round(1200.0 / step), 0, -1)
        after = s.time[-1] + step * np.arange(1, round(2400.0 / step))
        ends = (np.full(before.size, s.values[0]), np.full(after.size, s.values[-1]))
        if s is series.get("speed"):
            ends = tuple(np.zeros(end.size) for end in ends)
        return Series(
            np.concatenate([before, s.time, after]), np.concatenate([ends[0], s.values, ends[1]])
        )

    found = align_delays({n: stand(s) for n, s in series.items()}, 150.0)["position"]
    assert found.identifiable
    assert found.delay_s == pytest.approx(LATE_S, abs=0.04)


def test_too_little_is_not_decided(lap, measure):
    few = {n: measure(lap, n, 10, 0.02) for n in ("x", "y")}
    short = {n: Series(s.time[:50], s.values[:50]) for n, s in few.items()}
    assert align_delays(short) == {}
    alone = align_delays(few)["position"]
    assert not alone.identifiable
    assert align_delays({}) == {}
