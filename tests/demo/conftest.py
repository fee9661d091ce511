"""Sessions that several tests look at; driven once. All data are invented."""

import pytest

from lapwright.demo import Sensors, Session, make_session

QUIET = Sensors(
    position_sd_m=0.0, height_sd_m=0.0, speed_sd_mps=0.0, yaw_rate_sd=0.0, acceleration_sd=0.0
)


@pytest.fixture(scope="session")
def coach() -> Session:
    """Four laps without faults, logged without noise."""
    return make_session("coach", 4, 21, sensors=QUIET)


@pytest.fixture(scope="session")
def clean() -> Session:
    """Two laps without faults, to hold faulty ones of the same seed against."""
    return make_session("coach", 2, 3)
