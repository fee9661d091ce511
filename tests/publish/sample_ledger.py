"""Invented amounts for the invented view: what is possible, and where the time went.

The time lost along the road is that of the invented laps; how it falls upon causes is drawn by lot.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Json = dict[str, Any]

CAUSES: Json = {
    "early_braking": {"label": "Braked early", "meaning": "braked before the place it was held "
                      "against"},
    "fast_release": {"label": "Let the brake go too fast", "meaning": "brake off before the car "
                     "had turned"},
    "coasting": {"label": "Coasted", "meaning": "neither pedal"},
    "line": {"label": "Line", "meaning": "a longer or a tighter path"},
    "late_throttle": {"label": "Late on the throttle", "meaning": "throttle later than it was held "
                      "against"},
    "lift": {"label": "Lifted", "meaning": "let the throttle go and took it again"},
    "unexplained": {"label": "Unexplained", "meaning": "what the model cannot explain"},
}  # fmt: skip
#: Where each cause happens, as metres before and after the apex.
_PLACES = {"early_braking": (-95, -60), "fast_release": (-50, -15), "coasting": (-60, -40),
           "line": (-30, 30), "late_throttle": (8, 40), "lift": (45, 70),
           "unexplained": (-60, 70)}  # fmt: skip
_AGAINST = [
    {"key": "own_best", "label": "own best in each corner"},
    {"key": "possible_on_line", "label": "possible on this line"},
    {"key": "possible_on_fastest_line", "label": "possible on the fastest line"},
]


def _bumps(places: Array, at: list[float], wide: float, length: float) -> Array:
    away = (places[:, None] - np.array(at) + length / 2) % length - length / 2
    return np.asarray(np.exp(-0.5 * (away / wide) ** 2).sum(1))


def make_line(road: Json, best: Json, corners: list[Json], step: float) -> Json:
    """Make a fastest line a little wider and quicker than the best lap."""
    places = np.arange(len(best["n"])) * step
    length = step * len(best["n"])
    left = [c["apex_m"] for c in corners if c["direction"] == "left"]
    left += [c["end_m"] + 16 for c in corners if c["direction"] == "right"]
    right = [c["apex_m"] for c in corners if c["direction"] == "right"]
    right += [c["end_m"] + 16 for c in corners if c["direction"] == "left"]
    return {
        "n": np.clip(1.12 * best["n"], 0.9 - road["right"], road["left"] - 0.9),
        "speed": 1.02 * best["speed"] + 0.4,
        "worth_left": 2.2e-3 * _bumps(places, left, 7.0, length),
        "worth_right": 1.4e-3 * _bumps(places, right, 9.0, length),
        "load": 0.17 * np.sin(2 * np.pi * 5 * places / length) ** 3,
    }


def make_envelope(rng: np.random.Generator) -> Json:
    """Make limits that grow with speed, shown between 12 and 46 m/s."""
    out: Json = {}
    for name, rest, slope in (("lateral", 12.0, 1.1e-3), ("brake", 11.0, 9e-4),
                              ("drive", 9.0, -1e-3)):  # fmt: skip
        speed = np.linspace(5, 58, 25)
        value = rest + slope * speed**2
        wide = 0.25 + 0.012 * np.abs(speed - 28)
        at = rng.uniform(9, 48, 180)
        points = np.stack([at, (rest + slope * at**2) * (1 - rng.gamma(1.2, 0.04, 180))], 1)
        out[name] = {
            "speed": speed.tolist(), "value": value.tolist(), "low": (value - wide).tolist(),
            "high": (value + wide).tolist(), "supported": ((speed > 12) & (speed < 46)).tolist(),
            "points": points.tolist(),
        }  # fmt: skip
    return out


def _lost(time: Array, other: Array) -> Array:
    return np.asarray((time - time[0]) - (other - other[0]))


def _own_best(times: list[Array], cuts: list[int]) -> Array:
    """Join the quickest pass of each stretch into one lap."""
    whole = [0, *cuts, times[0].size - 1]
    out = [np.zeros(1)]
    for a, b in pairwise(whole):
        best = min(times, key=lambda t: float(t[b] - t[a]))
        out.append(best[a + 1 : b + 1] - best[a] + out[-1][-1])
    return np.concatenate(out)


def _corner(rng: np.random.Generator, corner: Json, cost: float, length: float) -> Json:
    causes = [*rng.permutation(list(CAUSES)[:-1])[: rng.integers(1, 5)], "unexplained"]
    shares = rng.dirichlet(np.ones(len(causes)) * 0.8)
    costs = cost * shares
    if len(causes) > 3 and abs(cost) > 0.05:  # one of them won time
        costs[1] -= 0.4 * cost
        costs[0] += 0.4 * cost
    rows = []
    for cause, amount in zip(causes, costs, strict=True):
        wide = 0.012 + 0.12 * abs(amount)
        a, b = _PLACES[cause]
        telling = bool(abs(amount) > 2 * wide) and cause != "unexplained"
        words = "lost" if amount > 0 else "won"
        rows.append({
            "cause": str(cause), "cost_s": float(amount), "low_s": float(amount - wide),
            "high_s": float(amount + wide), "significant": telling,
            "from_m": (corner["apex_m"] + a) % length, "to_m": (corner["apex_m"] + b) % length,
            "text": {"t": f"{CAUSES[cause]['label']} here: that {words} {{0}}, most of it within "
                     "{1}.", "v": [[abs(float(amount)), "time"], [float(b - a), "distance"]]}
            if telling else None,
        })  # fmt: skip
    nothing = not any(r["significant"] for r in rows)
    return {
        "corner": corner["id"], "cost_s": float(cost), "rows": rows,
        "nothing": {"t": "No difference that this data can show.", "v": []} if nothing else None,
    }  # fmt: skip


def _account(rng: np.random.Generator, lap: str, key: str, lost: Array, corners: list[Json],
             step: float) -> Json:  # fmt: skip
    length = step * (lost.size - 1)
    cuts = [round(c["start_m"] / step) for c in corners]
    by_corner = [
        float(lost[b] - lost[a]) if b > a else float(lost[-1] - lost[a] + lost[b])
        for a, b in zip(cuts, [*cuts[1:], cuts[0]], strict=True)
    ]
    rows = [_corner(rng, c, 0.9 * v, length) for c, v in zip(corners, by_corner, strict=True)]
    return {
        "lap": lap, "against": key, "difference_s": float(lost[-1]),
        "straight_s": float(lost[-1] - sum(r["cost_s"] for r in rows)), "corners": rows,
        "lost_s": lost[:-1],
    }  # fmt: skip


def make_ledger(rng: np.random.Generator, driven: Json, corners: list[Json], best: str,
                step: float) -> Json:  # fmt: skip
    """Make every lap's account against four things."""
    times = {lap: np.asarray(one["time"]) for lap, one in driven.items()}
    own = _own_best(list(times.values()), [round(c["start_m"] / step) for c in corners])
    held = {"own_best": own, "possible_on_line": own * 0.99, "possible_on_fastest_line": own * 0.98,
            f"lap:{best}": times[best]}  # fmt: skip
    accounts = [
        _account(rng, lap, key, _lost(time, other), corners, step)
        for lap, time in times.items()
        for key, other in held.items()
        if key != f"lap:{lap}"
    ]
    habits = [
        {"corner": c["id"], "cause": "early_braking", "share_of_laps": 0.75, "mean_cost_s": 0.05,
         "against": "own_best",
         "text": {"t": f"Corner {c['id']}: brakes early on {{0}} of the laps, {{1}} each time.",
                  "v": [[0.75, "share"], [0.05, "time"]]}}
        for c in corners[2:5]
    ]  # fmt: skip
    number = int(best.lstrip("L"))
    return {
        "against": [*_AGAINST, {"key": f"lap:{best}", "label": f"lap {number}"}],
        "causes": CAUSES, "accounts": accounts, "habits": habits, "why_null": None,
    }  # fmt: skip


def make_work(corners: list[Json]) -> list[Json]:
    """Make three items of work: evidence first, seconds last."""
    return [
        {"corner": c["id"],
         "what": {"t": f"Into {c['id']}: brake {{0}} later, in two steps",
                  "v": [[ahead, "distance"]]},
         "evidence": {"t": "Done on laps {0} and {1}.", "v": [[4, "count"], [7, "count"]]},
         "reference": {"t": "Repeats best with “steering straight”.", "v": []},
         "goal": {"t": "Brake {0} before the apex,", "v": [[62.0, "distance"]]},
         "tolerance": {"t": "within {0}.", "v": [[5.0, "distance"]]},
         "so_far": {"t": "so far {0} before the apex", "v": [[62.0 + ahead, "distance"]]},
         "worth_s": worth,
         "worth": {"t": "worth about {0} a lap ({1} to {2})",
                   "v": [[x * worth, "time", 2] for x in (1.0, 0.5, 1.5)]}}
        for c, ahead, worth in zip(corners[3:6], (18.0, 12.0, 9.0), (0.14, 0.09, 0.06), strict=True)
    ]  # fmt: skip


POSSIBLE_WORDS: Json = {
    "title": "What is possible",
    "sentences": [
        {"t": "On the line of this lap the car that these laps showed could do {0} ({1} to {2}).",
         "v": [[81.2, "lap_time", 2], [80.9, "lap_time", 2], [81.6, "lap_time", 2]]},
        {"t": "The car, as these laps showed it, corners with up to {0} at {1}: a lower bound of "
         "what it can do.", "v": [[12.4, "acceleration"], [27.0, "speed"]]},
    ],
    "why_null": None,
}  # fmt: skip
LEDGER_WORDS: Json = {
    "title": "Where the time went",
    "sentences": [{"t": "Every corner and cause, in hundredths of a second. Hollow: smaller than "
                   "this data can show.", "v": []}],
    "cautions": [{"t": "A cost is what the car's model makes of the difference: an estimate from "
                  "past laps in past conditions.", "v": []}],
}  # fmt: skip


def corner_words(number: int) -> list[Json]:
    """Say what road is worth in a corner."""
    said = [{"t": "The next metre of road is worth {0} at the apex; nothing at the entry.",
             "v": [[0.03, "time", 2]]}]  # fmt: skip
    if number % 4 == 0:
        said.append({"t": "Flat at full throttle, computed, with {0} to {1} of grip in hand.",
                     "v": [[0.06, "share"], [0.11, "share"]]})  # fmt: skip
    return said


def add_worth(view: Json, rng: np.random.Generator, corners: list[Json], best: str) -> None:
    """Add all of it to a view."""
    pictures, words = view["pictures"], view["words"]
    step, driven = pictures["step_m"], pictures["laps"]
    pictures["possible"] = make_line(pictures["road"], driven[best], corners, step)
    pictures["envelope"] = make_envelope(rng)
    words["possible"], words["ledger"] = POSSIBLE_WORDS, LEDGER_WORDS
    for i, corner in enumerate(corners):
        words["corners"][corner["id"]]["possible"] = corner_words(i)
    view["ledger"] = make_ledger(rng, driven, corners, best, step)
    view["order_of_work"] = make_work(corners)
    time = float(driven[best]["time"][-1])
    view["guide"]["possible"] = {
        "own_best_corners_s": {"value": time - 0.7, "low": None, "high": None},
        "on_line_s": {"value": time - 1.4, "low": time - 1.7, "high": time - 1.0},
        "on_fastest_line_s": {"value": time - 2.6, "low": time - 3.1, "high": time - 2.2},
    }


def place_beside(road: Json, corners: list[Json], hostile: str) -> tuple[list[Json], list[Json]]:
    """Kerbs inside and at the exit, one patch, and a few things to look at."""
    step, count = road["step_m"], road["points"]
    length = step * count
    spans: list[Json] = []
    for c in corners:
        left = c["direction"] == "left"
        for at, half, inside in ((c["apex_m"], 14, True), (c["end_m"] + 18, 16, False)):
            i = round(at / step) % count
            on_left = left == inside
            edge = road["left"][i] if on_left else -road["right"][i]
            spans.append({"kind": "kerb", "name": "kerb", "start_m": (at - half) % length,
                          "end_m": (at + half) % length,
                          "left_m": edge + 1.1 if on_left else edge,
                          "right_m": edge if on_left else edge - 1.1})  # fmt: skip
    c = corners[2]
    spans.append({"kind": "patch", "name": "new asphalt" + hostile, "start_m": c["start_m"] - 40,
                  "end_m": c["start_m"] + 6, "left_m": 1.5, "right_m": -6.0})  # fmt: skip
    landmarks = [
        {"name": "marshal's hut" + hostile, "at_m": corners[2]["start_m"] - 30, "off_m": 11.0,
         "height_m": 3.0},
        {"name": "brake board 100", "at_m": corners[0]["start_m"] - 62, "off_m": -9.0,
         "height_m": 1.2},
        {"name": "drain cover", "at_m": corners[4]["apex_m"] - 20, "off_m": -7.5, "height_m": 0.0},
    ]  # fmt: skip
    return spans, landmarks
