"""An invented circuit, car and drivers; shares no code with the analysis.

The door is `make_session`; `write_demo` writes the demo's files.
"""

from lapwright.demo.car import Car, club_car
from lapwright.demo.drivers import DRIVERS, FAULT_SIZES, Day, Driver, Fault, Habit, Reference
from lapwright.demo.known import LapTruth, Truth
from lapwright.demo.road import Circuit, Landmark, Span, quillbeck
from lapwright.demo.scenario import Written, coach_session, write_demo
from lapwright.demo.sensors import Sensors
from lapwright.demo.session import Log, Session, Survey, make_session
from lapwright.demo.truth import CornerTruth, FaultCost, zones
from lapwright.demo.writing import Paths, Style

__all__ = [
    "DRIVERS",
    "FAULT_SIZES",
    "Car",
    "Circuit",
    "CornerTruth",
    "Day",
    "Driver",
    "Fault",
    "FaultCost",
    "Habit",
    "Landmark",
    "LapTruth",
    "Log",
    "Paths",
    "Reference",
    "Sensors",
    "Session",
    "Span",
    "Style",
    "Survey",
    "Truth",
    "Written",
    "club_car",
    "coach_session",
    "make_session",
    "quillbeck",
    "write_demo",
    "zones",
]
