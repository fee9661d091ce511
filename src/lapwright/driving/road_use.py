"""How much road is left at entry, apex and exit, and whether it is worth anything."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, Literal

from lapwright.driving.passes import CornerSummary

Part = Literal["entry", "apex", "exit"]
Verdict = Literal["leave it", "worth using", "used"]

#: The action that measures each part, and on which side of the corner it does.
EDGES: Final[Mapping[Part, tuple[str, Literal["outside", "inside"]]]] = {
    "entry": ("entry_edge_m", "outside"),
    "apex": ("apex_inside_m", "inside"),
    "exit": ("exit_edge_m", "outside"),
}
#: Less road than this beside the wheels is used up, m (half a hand's breadth of steering).
USED_M: Final = 0.3
#: Unused road that is worth less is worth nothing that a driver could find, s.
WORTH_NAMING_S: Final = 0.01


@dataclass(frozen=True, slots=True)
class Worth:
    """What a metre more is worth, and what the unused road is; None where not worked out."""

    s_per_m: float
    unused_worth_s: float | None = None


@dataclass(frozen=True, slots=True)
class RoadUse:
    """Road left at one part of a corner.

    Parameters
    ----------
    left_m
        Usual distance from the outermost part of the car to the edge, of the path itself
        where the car's width is not known; negative beyond the edge.
    spread_m, laps
        Its robust standard deviation, and over how many laps.
    worth_s
        What the road left is worth; None where that was not worked out.
    verdict
        None where the worth is not known.
    """

    corner: str
    part: Part
    side: Literal["outside", "inside"]
    left_m: float
    spread_m: float | None
    laps: int
    worth_s: float | None
    verdict: Verdict | None


def find_road_use(
    summary: CornerSummary, width_m: float, worths: Mapping[Part, Worth]
) -> tuple[RoadUse, ...]:
    """Find the road left in one corner; parts whose distance is not known are left out.

    Parameters
    ----------
    width_m
        Of the car; 0 where it is not known.
    worths
        By part, where what is possible was worked out.
    """
    out = []
    for part, (name, side) in EDGES.items():
        action = summary.actions.get(name)
        if action is None or action.median is None:
            continue
        left = action.median - 0.5 * width_m
        worth = _worth(left, worths.get(part))
        out.append(
            RoadUse(
                summary.corner, part, side, left, action.spread, action.n, worth,
                _judge(left, worth),
            )
        )  # fmt: skip
    return tuple(out)


def _worth(left: float, one: Worth | None) -> float | None:
    """Worth of the road left, s: as priced, else no more than a metre's worth for each metre."""
    if one is None:
        return None
    if one.unused_worth_s is not None:
        return one.unused_worth_s
    return max(one.s_per_m * left, 0.0)


def _judge(left: float, worth: float | None) -> Verdict | None:
    if worth is None:
        return None
    if left < USED_M:
        return "used"
    return "worth using" if worth >= WORTH_NAMING_S else "leave it"
