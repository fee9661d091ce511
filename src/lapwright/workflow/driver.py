"""What is added to a guide about the driver: references, hands, rotation, gears."""

from __future__ import annotations

from dataclasses import replace

from lapwright.driving.gears import find_gears
from lapwright.driving.phases import find_phases
from lapwright.driving.reference_views import see_from_seat
from lapwright.driving.references import find_references
from lapwright.driving.steering import find_hands, summarise_hands
from lapwright.guide.document import Findings


def add_driver(findings: Findings) -> Findings:
    """Add what the driver of the chosen lap does it on, with hands, rotation and gears.

    References are one person's own: only that driver's laps are looked at.
    """
    car = findings.possible.car if findings.possible else None
    circuit = findings.circuit
    driver = next(lap.driver for lap in findings.laps if lap.id == findings.chosen_lap)
    laps = tuple(lap for lap in findings.laps if lap.driver == driver and lap.used)
    ids = {lap.id for lap in laps}
    passes = tuple(one for one in findings.passes if one.lap in ids)
    eye = findings.measured.eye_position_m if findings.measured else None
    return replace(
        findings,
        references=find_references(circuit, laps, passes, visible=see_from_seat(circuit, eye)),
        hands=summarise_hands(circuit, find_hands(circuit, laps, passes)),
        phases=find_phases(circuit, laps, passes, car),
        gears=find_gears(circuit, laps, passes),
    )
