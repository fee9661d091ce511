"""An invented view for the page: a circuit nobody has built, laps nobody has driven.

Every number is made here. The laps follow a crude forward-backward speed profile
with correlated noise; they look like driving and prove nothing about it.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline, PchipInterpolator

Array = NDArray[np.float64]
Json = dict[str, Any]


def _load_more() -> Any:
    """Load the file beside this one, wherever this one was loaded from."""
    path = Path(__file__).with_name("sample_ledger.py")
    spec = importlib.util.spec_from_file_location("sample_ledger", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


MORE = _load_more()

# Points of the invented road in m, driven in this order (clockwise with two left-handers).
POINTS = np.array(
    [
        (0, 0), (170, 6), (340, 2), (455, -18), (488, -82), (440, -140), (415, -196),
        (452, -252), (540, -268), (640, -250), (722, -262), (748, -322), (706, -372), (600, -392),
        (520, -372), (462, -388), (448, -446), (390, -484), (318, -462), (282, -402), (222, -388),
        (178, -436), (96, -474), (-40, -462), (-150, -470), (-212, -428), (-204, -356),
        (-140, -318), (-40, -318), (20, -280), (8, -226), (-70, -208), (-180, -214), (-262, -182),
        (-284, -100),
        (-240, -22), (-130, -6),
    ],
    dtype=float,
)  # fmt: skip

NAMES = (
    "Gate", "Weir", "Latch", "Long Meadow", "Heron", "Fold", "Kink", "Mill", "Short",
    "Crest", "Tannery", "Sweep", "Rise", "Orchard <b>&", "Stile", "Ford", "Byre", "Last",
)  # fmt: skip

ACTIONS: dict[str, tuple[str, str, bool, str, str | None, str | None]] = {
    "off_throttle_m": ("off the throttle", "distance", True, "where full throttle ends",
                       "off the throttle {0} before the apex",
                       "off the throttle {0} after the apex"),
    "coasting_s": ("coasting", "time", False, "neither pedal, before the brake", None, None),
    "brake_start_m": ("brake start", "distance", True, "where the brake begins to slow the car",
                      "brakes {0} before the apex", "brakes {0} after the apex"),
    "peak_deceleration_mps2": ("peak deceleration", "acceleration", False,
                               "the hardest slowing", None, None),
    "brake_end_m": ("brake end", "distance", True, "where the brake is off again",
                    "brake released {0} before the apex", "brake released {0} after the apex"),
    "turn_in_m": ("turn-in", "distance", True, "where the steering begins",
                  "turns in {0} before the apex", "turns in {0} after the apex"),
    "minimum_speed_mps": ("lowest speed", "speed", False, "the slowest point", None, None),
    "minimum_speed_m": ("place of the lowest speed", "distance", True, "where it is slowest",
                        "slowest {0} before the apex", "slowest {0} after the apex"),
    "apex_m": ("apex", "distance", True, "closest to the inside edge",
               "apex {0} early", "apex {0} late"),
    "apex_inside_m": ("room at the apex", "offset", False,
                      "from the car's middle to the inside edge", None, None),
    "throttle_first_m": ("throttle pick-up", "distance", True, "the first rise that stays",
                         "throttle {0} before the apex", "throttle {0} after the apex"),
    "full_throttle_m": ("full throttle", "distance", True, "back at full throttle",
                        "full throttle {0} before the apex", "full throttle {0} after the apex"),
    "off_full_throttle_s": ("time off full throttle", "time", False,
                            "from leaving full throttle to being back on it", None, None),
    "exit_speed_mps": ("exit speed", "speed", False, "speed at the corner's end", None, None),
    "gear": ("lowest gear", "count", False, "the lowest gear used", None, None),
    "exit_edge_m": ("room at the exit", "offset", False, "to the outside edge", None, None),
    "corner_time_s": ("time in the corner", "time", False, "from its start to its end", None, None),
}  # fmt: skip

UNITS: Json = {
    "chosen": "metric",
    "systems": {
        "metric": {
            "name": "metric",
            "quantities": {
                "distance": {"unit": "m", "factor": 1.0, "decimals": 0},
                "offset": {"unit": "m", "factor": 1.0, "decimals": 1},
                "speed": {"unit": "km/h", "factor": 3.6, "decimals": 0},
                "acceleration": {"unit": "m/s²", "factor": 1.0, "decimals": 1},
                "time": {"unit": "s", "factor": 1.0, "decimals": 2},
                "lap_time": {"unit": "s", "factor": 1.0, "decimals": 3},
                "angle": {"unit": "°", "factor": 57.29577951308232, "decimals": 0},
                "share": {"unit": "%", "factor": 100.0, "decimals": 0},
                "pressure": {"unit": "bar", "factor": 1e-5, "decimals": 1},
                "count": {"unit": "", "factor": 1.0, "decimals": 0},
            },
        },
        "imperial": {
            "name": "imperial",
            "quantities": {
                "distance": {"unit": "yd", "factor": 1.0936132983377078, "decimals": 0},
                "offset": {"unit": "ft", "factor": 3.280839895013123, "decimals": 1},
                "speed": {"unit": "mph", "factor": 2.2369362920544025, "decimals": 0},
                "acceleration": {"unit": "ft/s²", "factor": 3.280839895013123, "decimals": 0},
                "time": {"unit": "s", "factor": 1.0, "decimals": 2},
                "lap_time": {"unit": "s", "factor": 1.0, "decimals": 3},
                "angle": {"unit": "°", "factor": 57.29577951308232, "decimals": 0},
                "share": {"unit": "%", "factor": 100.0, "decimals": 0},
                "pressure": {"unit": "psi", "factor": 1.4503773773020923e-4, "decimals": 0},
                "count": {"unit": "", "factor": 1.0, "decimals": 0},
            },
        },
    },
}


def _road(step_m: float, scale: float) -> Json:
    """Resample the invented points at a whole number of equal steps."""
    closed = np.vstack([POINTS, POINTS[:1]]) * scale
    chord = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    spline = CubicSpline(chord, closed, bc_type="periodic")
    fine = np.linspace(0.0, chord[-1], 40001)
    xy = spline(fine)
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    count = round(length[-1] / step_m)
    u = np.interp(np.arange(count) * length[-1] / count, length, fine)
    x, y = spline(u).T
    (dx, dy), (ddx, ddy) = spline(u, 1).T, spline(u, 2).T
    curvature = (dx * ddy - dy * ddx) / (dx**2 + dy**2) ** 1.5
    s = np.arange(count) / count
    width = 5.6 + 0.6 * np.sin(2 * np.pi * 3 * s)
    return {
        "step_m": float(length[-1] / count), "points": count, "x": x, "y": y,
        "curvature": curvature, "left": width, "right": width + 0.5 * np.cos(2 * np.pi * 2 * s),
        "z": None, "slope": None, "banking": None, "vertical_curvature": None,
    }  # fmt: skip


def _corners(road: Json) -> list[Json]:
    """Stretches bent tighter than 92 m, numbered from the line."""
    k, step = road["curvature"], road["step_m"]
    bent = np.abs(k) > 1 / 92
    starts = np.flatnonzero(bent & ~np.roll(bent, 1))
    found: list[Json] = []
    for a in starts:
        b = a + int(np.argmin(np.roll(bent, -a)))
        if (b - a) * step < 12:
            continue
        apex = a + int(np.argmax(np.abs(k[a:b])))
        number = len(found) + 1
        found.append(
            {
                "id": str(number),
                "name": NAMES[number - 1],
                "direction": "left" if k[apex] > 0 else "right",
                "start_m": a * step,
                "apex_m": apex * step,
                "end_m": b * step,
            }
        )
    return found


def _smooth_noise(rng: np.random.Generator, count: int, length: int, size: float) -> Array:
    """Periodic noise that stays alike over about ``length`` samples."""
    knots = max(8, count // length)
    values = rng.normal(0.0, size, knots)
    spline = CubicSpline(np.arange(knots + 1), np.append(values, values[0]), bc_type="periodic")
    return np.asarray(spline(np.arange(count) * knots / count))


def _line(rng: np.random.Generator, road: Json, corners: list[Json]) -> Array:
    """Outside, inside, outside, with a knot's worth of untidiness at each."""
    length = road["points"] * road["step_m"]
    knots: list[tuple[float, float]] = []
    for c in corners:
        inside = 1.0 if c["direction"] == "left" else -1.0
        knots += [
            (c["start_m"] - 12, -inside * rng.normal(3.9, 0.35)),
            (c["apex_m"] + rng.normal(2, 4), inside * rng.normal(4.3, 0.25)),
            (c["end_m"] + 14, -inside * rng.normal(3.6, 0.5)),
        ]
    knots.sort()
    kept = [knots[0]]
    for place, value in knots[1:]:
        if place - kept[-1][0] < 9:
            kept[-1] = ((kept[-1][0] + place) / 2, (kept[-1][1] + value) / 2)
        else:
            kept.append((place, value))
    places, values = (np.array(v) for v in zip(*kept, strict=True))
    around = np.concatenate([places - length, places, places + length])
    spline = PchipInterpolator(around, np.tile(values, 3))
    n = spline(np.arange(road["points"]) * road["step_m"])
    return np.asarray(n + _smooth_noise(rng, n.size, 60, 0.12))


def _speed(k: Array, step: float, lateral: Array, brake: Array, drive: float) -> Array:
    """Speed under a round limit of both accelerations, twice round so that the lap closes."""
    bend, side = np.tile(np.abs(k), 2), np.tile(lateral, 2)
    v = np.minimum(np.sqrt(0.97 * side / np.maximum(bend, 1e-4)), 62.0)
    for i in range(1, v.size):
        left = np.sqrt(max(1 - (bend[i - 1] * v[i - 1] ** 2 / side[i - 1]) ** 2, 0.0))
        a = min(drive, 330.0 / v[i - 1]) * left - 0.0009 * v[i - 1] ** 2
        v[i] = min(v[i], np.sqrt(v[i - 1] ** 2 + 2 * max(a, 0.05) * step))
    for i in range(v.size - 2, -1, -1):
        j = i % k.size
        left = np.sqrt(max(1 - (bend[i + 1] * v[i + 1] ** 2 / side[i + 1]) ** 2, 0.0))
        v[i] = min(v[i], np.sqrt(v[i + 1] ** 2 + 2 * brake[j] * max(left, 0.12) * step))
    count = k.size
    return np.concatenate([v[count : count + count // 2], v[count // 2 : count]])


def _lap(rng: np.random.Generator, road: Json, corners: list[Json], skill: float) -> Json:
    """One lap's channels on the road's grid."""
    k, step = road["curvature"], road["step_m"]
    n = _line(rng, road, corners)
    calm = np.convolve(np.tile(k, 3), np.ones(25) / 25, "same")[k.size : 2 * k.size]
    calm = calm * (1 + _smooth_noise(rng, k.size, 220, 0.05))
    side = 11.0 * skill * (1 + _smooth_noise(rng, k.size, 90, 0.03))
    brake = 9.0 * skill**2 * (1 + _smooth_noise(rng, k.size, 110, 0.09))
    v = _speed(calm, step, side, brake, 4.2)
    v = np.convolve(np.concatenate([v[-9:], v, v[:9]]), np.ones(19) / 19, "valid")
    v = v + _smooth_noise(rng, k.size, 30, 0.12)
    forward = (np.roll(v, -1) ** 2 - np.roll(v, 1) ** 2) / (4 * step)
    wanted = np.clip((forward + 0.0009 * v**2 + 0.4) / np.minimum(4.0, 320 / v), 0, 1)
    throttle = np.where(wanted > 0.9, 1.0, wanted)
    brake = np.clip(-(forward + 1.0) / 9.0, 0, 1)
    seconds = 2 * step / (v + np.roll(v, -1))
    return {
        "time": np.concatenate([[0.0], np.cumsum(seconds)]), "n": n, "speed": v,
        "acceleration_forward": forward + rng.normal(0, 0.15, k.size),
        "acceleration_left": k * v**2 + rng.normal(0, 0.2, k.size),
        "throttle": throttle, "brake": brake,
        "steering": 2.6 * calm * 14 * (1 + 0.002 * v) + _smooth_noise(rng, k.size, 12, 0.015),
        "gear": np.clip(np.round(v / 11), 1, 6),
    }  # fmt: skip


def _actions(lap: Json, road: Json, corner: Json) -> dict[str, float | None]:
    """What a lap does in a corner, by the simplest rules that give sensible places."""
    step, count = road["step_m"], road["points"]
    start, apex, end = (round(corner[key] / step) for key in ("start_m", "apex_m", "end_m"))
    index = np.arange(start - round(170 / step), end + round(170 / step)) % count
    v, a, n = lap["speed"][index], lap["acceleration_forward"][index], lap["n"][index]
    zero = round(170 / step)
    near = slice(zero - 10, zero + (end - start) + 10)
    slow = near.start + int(np.argmin(v[near]))

    def place(i: int) -> float:
        return float(index[min(max(i, 0), index.size - 1)] * step)

    def back(flag: Any, i: int) -> int:
        while i > 0 and flag[i]:
            i -= 1
        return i

    firm = np.convolve(a, np.ones(5) / 5, "same")
    hits = np.flatnonzero(firm[: slow + 1] < -2.0)
    braked = hits.size > 8 and hits[-1] > slow - 60
    brake_end = int(hits[-1]) if braked else slow
    brake_start = back(firm < -1.2, brake_end) if braked else None
    side = 1.0 if corner["direction"] == "left" else -1.0
    room = (road["left"] if side > 0 else road["right"])[index] - side * n
    inner = near.start + int(np.argmin(room[near]))
    outer, out_at = (road["right"] if side > 0 else road["left"])[index], zero + end - start
    steer = side * (lap["steering"] if lap["steering"] is not None else lap["speed"] * 0)[index]
    turn = back(steer > 0.12, zero + (apex - start))
    out: dict[str, float | None] = {
        "brake_start_m": None if brake_start is None else place(brake_start),
        "peak_deceleration_mps2":
            float(-firm[near.start - 60 : slow + 1].min()) if braked else None,
        "brake_end_m": place(brake_end) if braked else None,
        "turn_in_m": place(turn) if lap["steering"] is not None else None,
        "minimum_speed_mps": float(v[slow]), "minimum_speed_m": place(slow),
        "apex_m": place(inner), "apex_inside_m": float(room[inner]),
        "exit_speed_mps": float(v[zero + end - start]),
        "exit_edge_m": float(outer[out_at] + side * n[out_at]),
        "corner_time_s": float(lap["time"][end % count] - lap["time"][start % count]),
    }  # fmt: skip
    if lap["throttle"] is not None:
        t = lap["throttle"][index]
        before = np.flatnonzero(t[: slow + 1] > 0.98)
        after = slow + np.flatnonzero(t[slow:] > 0.98)
        rising = slow + np.flatnonzero(t[slow:] > 0.25)
        leave = int(before[-1]) if before.size else None
        out["off_throttle_m"] = None if leave is None else place(leave)
        out["throttle_first_m"] = place(int(rising[0])) if rising.size else None
        out["full_throttle_m"] = place(int(after[0])) if after.size else None
        out["coasting_s"] = (
            None if leave is None or brake_start is None
            else float(max(brake_start - leave, 0) * step / v[leave])
        )  # fmt: skip
        if leave is not None and after.size:
            out["off_full_throttle_s"] = float(np.sum(step / v[leave : int(after[0])]))
    if lap["gear"] is not None:
        out["gear"] = float(lap["gear"][index][near].min())
    return out


def _summary(name: str, values: list[float | None], speed: float, length: float) -> Json:
    """Median and robust spread, and floors that look like a 100 Hz log."""
    quantity, is_place = ACTIONS[name][1], ACTIONS[name][2]
    known = np.array([v for v in values if v is not None])
    if known.size == 0:
        return {"median": None, "spread": None, "n": 0, "floor": None, "human_floor": None,
                "why_null": "no braking seen here" if "brake" in name or "decel" in name
                else "full throttle is not left here"}  # fmt: skip
    if is_place:
        known = (known - known[0] + length / 2) % length - length / 2 + known[0]
    median = float(np.median(known))
    floor = {"distance": speed * 0.01, "offset": 0.05, "speed": 0.05, "time": 0.01}.get(quantity)
    return {
        "median": median % length if is_place else median,
        "spread": float(1.4826 * np.median(np.abs(known - median))) if known.size > 2 else None,
        "n": int(known.size), "floor": floor,
        "human_floor": speed * 0.01 if is_place else None, "why_null": None,
    }  # fmt: skip


def _say(corner: Json, actions: Json) -> Json:
    """Sentences for one corner."""
    name = f", {corner['name']}" if corner["name"] else ""
    instructions: list[Json] = []
    brake, full = actions["brake_start_m"], actions["full_throttle_m"]
    if brake["median"] is not None:
        ahead = corner["apex_m"] - brake["median"]
        instructions.append(
            {"t": "Brake {0} before the apex. On most laps it happens within {1} of there.",
             "v": [[ahead, "distance"], [brake["spread"] or 0.0, "offset"]]}
        )  # fmt: skip
    instructions.append(
        {"t": "Slowest at {0}, and no slower: the best exit here came with {1} at the end.",
         "v": [[actions["minimum_speed_mps"]["median"], "speed"],
               [actions["exit_speed_mps"]["median"], "speed"]]}
    )  # fmt: skip
    instructions.append(
        {"t": "Pass the apex {0} from the inside edge.",
         "v": [[actions["apex_inside_m"]["median"], "offset"]]}
    )  # fmt: skip
    if full["median"] is not None:
        instructions.append(
            {"t": "Back at full throttle {0} after the apex, once, without giving it back.",
             "v": [[max(full["median"] - corner["apex_m"], 0.0), "distance"]]}
        )  # fmt: skip
    return {
        "title": {"t": f"Corner {corner['id']}{name}", "v": []},
        "why": {"t": f"A {corner['direction']}-hander onto {{0}} of road before the next corner.",
                "v": [[corner["straight_m"], "distance"]]},
        "instructions": instructions,
        "spread_note": {"t": "The brake start moves by {0} from lap to lap; a practised driver "
                        "can hold about {1}.",
                        "v": [[brake["spread"], "offset", 1], [brake["human_floor"], "offset", 1]]}
        if brake["spread"] is not None else None,
    }  # fmt: skip


def make_view(
    laps: int = 12,
    step_m: float = 1.0,
    scale: float = 1.0,
    seed: int = 7,
    hostile: str = "",
    worth: bool = True,
) -> Json:
    """Compose the whole view.

    ``hostile`` is put into every name that comes from a user's files; ``worth`` adds what is
    possible and the ledger.
    """
    rng = np.random.default_rng(seed)
    road = _road(step_m, scale)
    step, count = road.pop("step_m"), road.pop("points")
    grid = {**road, "step_m": step, "points": count}
    corners = _corners(grid)
    length = step * count
    skills = 0.93 + 0.09 * rng.random(laps)
    driven = {f"L{i + 2}": _lap(rng, grid, corners, float(q)) for i, q in enumerate(skills)}
    ids = list(driven)
    slowest = max(ids, key=lambda lap: float(driven[lap]["time"][-1]))
    driven[slowest]["throttle"] = None  # a lap whose pedal channel dropped out
    corner_laps, summaries = [], []
    for i, corner in enumerate(corners):
        following = corners[(i + 1) % len(corners)]
        corner["straight_m"] = (following["start_m"] - corner["end_m"]) % length
        by_lap = {lap: _actions(driven[lap], grid, corner) for lap in ids}
        speed = float(np.median([a["minimum_speed_mps"] for a in by_lap.values()]))
        summaries.append({a: _summary(a, [v.get(a) for v in by_lap.values()], speed, length)
                          for a in ACTIONS})  # fmt: skip
        corner_laps += [
            {"corner": corner["id"], "lap": lap, "time_s": v["corner_time_s"],
             "actions": {a: v.get(a) for a in ACTIONS}} for lap, v in by_lap.items()
        ]  # fmt: skip
    used = [{"id": lap, "file": f"practice{hostile}.csv", "driver": f"Driver A{hostile}",
             "number": i + 2, "time_s": float(driven[lap]["time"][-1]), "used": True,
             "why_not": None, "kind": "timed"} for i, lap in enumerate(ids)]  # fmt: skip
    aside = [("L1", 1, 131.4, "out lap: it begins in the pit lane"),
             (f"L{laps + 2}", laps + 2, None, "in lap: it ends in the pit lane")]  # fmt: skip
    all_laps = [{"id": i, "file": f"practice{hostile}.csv", "driver": f"Driver A{hostile}",
                 "number": number, "time_s": t, "used": False, "why_not": why + hostile,
                 "kind": why.split(":")[0]} for i, number, t, why in aside]  # fmt: skip
    all_laps = [all_laps[0], *used, all_laps[1]]
    best = min(used, key=lambda lap: lap["time_s"])
    chosen = next(lap for lap in used if lap is not best)
    kerbs, landmarks = MORE.place_beside(grid, corners, hostile)
    close = [c for c in corners if c["straight_m"] < 30]
    pairs = {c["id"]: "A" for c in close[:1]}
    for c in close[:1]:
        pairs[corners[(corners.index(c) + 1) % len(corners)]["id"]] = "A"
    view: Json = {
        "guide": {
            "schema": "lapwright.guide/1",
            "made_by": {"program": "lapwright", "version": "0.1.0", "inputs": []},
            "cautions": [
                "These figures come from past laps in past conditions. Build up to a later brake "
                "point or a higher speed in steps.",
                "For closed circuits only. The event's rules, the marshals and a licensed "
                "instructor come first.",
            ],
            "session": {"drivers": [f"Driver A{hostile}"], "car": f"club saloon{hostile}",
                        "date": "2031-05-04", "conditions": "dry, 12 °C", "laps_used": laps},
            "circuit": {"name": f"Harrow Weir{hostile}", "length_m": length, "surveyed": True,
                        "turns": "clockwise"},
            "recording": {
                "rate_hz": 100.0,
                "channels": [
                    {"name": "speed", "unit": "m/s", "original": f"GS [km/h]{hostile}",
                     "how_known": "unit from the header, checked against position", "delay_s": 0.0},
                    {"name": "throttle", "unit": "1", "original": "TPS %",
                     "how_known": "unit from the header", "delay_s": 0.04},
                ],
                "repairs": [{"channel": "throttle", "from_s": 512.0, "to_s": 640.0,
                             "what": "stuck at one value for a lap; left out"}],
            },
            "laps": all_laps,
            "corners": [
                {**{k: c[k] for k in ("id", "name", "direction", "start_m", "apex_m", "end_m")},
                 "name": c["name"] + hostile,
                 "kind": "braked" if a["brake_start_m"]["median"] is not None else "lifted",
                 "complex": pairs.get(c["id"]), "actions": a, "advice": [], "notes": (
                     ["The marshal's hut is the best thing to look at here." + hostile]
                     if c["id"] == "3" else [])}
                for c, a in zip(corners, summaries, strict=True)
            ],
            "possible": None, "ledger": [], "habits": [], "order_of_work": [],
            "corner_laps": corner_laps,
        },
        "pictures": {
            "step_m": step, "points": count, "road": road, "laps": driven,
            "chosen_lap": chosen["id"], "compare_lap": best["id"],
            "spans": kerbs, "landmarks": landmarks,
        },
        "words": {
            "title": f"Harrow Weir{hostile}, dry, {laps} laps",
            "lede": {"t": f"Driver A{hostile}, club saloon, 12 °C. The guide follows lap "
                     f"{chosen['number']}, {{0}}; the best lap is {best['number']}, {{1}}.",
                     "v": [[chosen["time_s"], "lap_time"], [best["time_s"], "lap_time"]]},
            "facts": [
                {"label": "Circuit", "text": {"t": "{0}, clockwise, edges surveyed",
                                              "v": [[length, "distance"]]}},
                {"label": "Car", "text": {"t": f"club saloon{hostile}", "v": []}},
                {"label": "Conditions", "text": {"t": "4 May 2031, dry, 12 °C", "v": []}},
                {"label": "Laps", "text": {"t": "{0} used, {1} set aside",
                                           "v": [[laps, "count"], [2, "count"]]}},
                {"label": "Top speed", "text": {"t": "{0}", "v": [[max(
                    float(lap["speed"].max()) for lap in driven.values()), "speed"]]}},
                {"label": "Recording", "text": {"t": "100 Hz, position within {0}",
                                                "v": [[0.02, "offset", 2]]}},
            ],
            "actions": {a: dict(zip(("label", "quantity", "is_place", "meaning", "before", "after"),
                                    row, strict=True)) for a, row in ACTIONS.items()},
            "corners": {c["id"]: _say({**c, "name": c["name"] + hostile}, a)
                        for c, a in zip(corners, summaries, strict=True)},
            "missing": [
                {"t": "No heights in the survey: nothing is said about crests and what can be "
                 "seen.", "v": []},
                {"t": "No brake pressure in the log: braking is read from the deceleration, so the "
                 "brake start is known within {0}.", "v": [[1.6, "offset"]]},
            ],
        },
        "units": UNITS,
    }  # fmt: skip
    if worth:
        MORE.add_worth(view, rng, corners, best["id"])
    return view
