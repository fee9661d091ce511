"""Small invented files of each kind that the readers know: what fuzzing begins with."""

from __future__ import annotations

import json

import numpy as np


def make_seeds(name: str) -> list[bytes]:
    """Small invented files of a kind."""
    return {
        "csv": _tables, "layout": _tables, "gpx": _tracks, "nmea": _sentences,
        "geojson": _features, "opendrive": _roads, "zip": _archives, "mdf": _blocks,
        "circuit": _circuits, "line": _lines, "mapping": _mappings, "car": _cars, "notes": _notes,
    }[name]()  # fmt: skip


def _tables() -> list[bytes]:
    rows = [(0.1 * i, 46.5 + 1e-5 * i, 9.25 + 2e-5 * i, 20 + 0.1 * i, 3) for i in range(9)]
    head = ("time (s)", "lat (deg)", "lon (deg)", "speed [km/h]", "gear")
    made = []
    for cut, decimal in ((",", "."), (";", ","), ("\t", "."), (" ", ".")):
        lines = [cut.join(h.replace(" ", "") for h in head)]
        lines += [cut.join(f"{v:.5f}".replace(".", decimal) for v in row) for row in rows]
        made.append("\n".join(lines).encode())
    preamble = (
        "Driver,A. Invented\r\nDate,2026-05-09\r\n\r\nTime,Lat,Lon,Speed\r\ns,deg,deg,m/s\r\n"
    )
    stamps = [f"10:00:{t:06.3f},{a:.6f},{b:.6f},{v:.2f}" for t, a, b, v, _ in rows]
    whole = ["t,v", *(f"{i // 4},{i}" for i in range(40))]  # long enough for the rules of clocks
    return [
        *made, (preamble + "\r\n".join(stamps)).encode(), ("\n".join(stamps)).encode("utf-16"),
        "\n".join(whole).encode(),
    ]  # fmt: skip


def _tracks() -> list[bytes]:
    points = "".join(
        f'<trkpt lat="{46.5 + 1e-5 * i}" lon="{9.25 + 2e-5 * i}"><ele>{400 + i}</ele>'
        f"<time>2026-05-09T10:00:{i:02d}.5Z</time><extensions><x:speed>{20 + i}</x:speed>"
        "</extensions></trkpt>\n"
        for i in range(4)
    )
    head = '<?xml version="1.0"?>\n<gpx version="1.1">'
    one = f"{head}<trk><name>a</name><trkseg>\n{points}</trkseg></trk></gpx>"
    return [one.encode(), one.replace("</gpx>", one[one.index("<trk>") :]).encode()]


def _sentences() -> list[bytes]:
    lines = []
    for i in range(5):
        place = f"46{30 + 0.01 * i:08.5f},N,009{15 + 0.01 * i:08.5f},E"
        lines += [
            f"$GNRMC,1000{i:02d}.50,A,{place},40.1,12.5,090526,,,A",
            f"$GNGGA,1000{i:02d}.50,{place},1,12,0.7,401.2,M,,M,,",
            "$GNVTG,12.5,T,,M,40.1,N,74.3,K,A",
        ]
    summed = []
    for line in lines:
        total = 0
        for sign in line[1:].encode():
            total ^= sign
        summed.append(f"{line}*{total:02X}")
    return ["\r\n".join(lines).encode(), "\r\n".join(summed).encode()]


def _features() -> list[bytes]:
    angle = np.linspace(0.0, 2.0 * np.pi, 33)
    ring = np.column_stack([9.25 + 1.3e-3 * np.cos(angle), 46.5 + 9e-4 * np.sin(angle)])
    kinds = [
        ("centre", "LineString", ring.round(6).tolist(), {"left_m": 4, "right_m": 5.5}),
        ("kerb", "LineString", ring[3:6].round(6).tolist(), {"width_m": 1}),
        ("landmark", "Point", ring[9].tolist(), {"name": "tower", "height_m": 9}),
    ]
    features = [
        {
            "type": "Feature",
            "properties": {"kind": kind, **more},
            "geometry": {"type": shape, "coordinates": points},
        }
        for kind, shape, points, more in kinds
    ]
    return [json.dumps({"type": "FeatureCollection", "features": features}).encode()]


def _roads() -> list[bytes]:
    half = np.pi * 100.0
    pieces = "".join(
        f'<geometry s="{k * half}" x="0" y="{200 * k}" hdg="{k * np.pi}" length="{half}">'
        '<arc curvature="0.01"/></geometry>'
        for k in (0, 1)
    )
    lane = '<lane id="{}" type="driving"><width sOffset="0" a="4" b="0" c="0" d="0"/></lane>'
    lanes = f"<left>{lane.format(1)}</left><right>{lane.format(-1)}</right>"
    text = (
        f'<OpenDRIVE><road id="1" length="{2 * half}"><planView>{pieces}</planView>'
        '<elevationProfile><elevation s="0" a="1" b="0" c="0" d="0"/></elevationProfile>'
        f'<lanes><laneSection s="0">{lanes}</laneSection></lanes></road></OpenDRIVE>'
    )
    poly = '<poly3 a="0" b="0" c="0.001" d="0"/>'
    spiral = '<spiral curvStart="0.01" curvEnd="0.01"/>'
    arc = '<arc curvature="0.01"/>'
    return [text.encode(), text.replace(arc, spiral).encode(), text.replace(arc, poly).encode()]


def _circuits() -> list[bytes]:
    """Our own document of a small round, a line with widths, and two edges."""
    from lapwright.model.circuit_json import SCHEMA

    angle = np.linspace(0.0, 2.0 * np.pi, 17)[:-1]
    x, y = (20.0 * np.cos(angle)).round(1).tolist(), (20.0 * np.sin(angle)).round(1).tolist()
    arrays = {
        "s": [8.0 * k for k in range(16)], "x": x, "y": y, "heading": angle.round(2).tolist(),
        **{name: [0] * 16 for name in ("z", "slope", "banking", "vertical_curvature")},
        "curvature": [0.05] * 16, "left": [4] * 16, "right": [5] * 16,
    }  # fmt: skip
    document = {
        "schema": SCHEMA, "name": "a", "length_m": 128.0, "turns": "anticlockwise",
        "surveyed": False, "has_heights": False, "origin": None, "corners": [], "spans": [],
        "landmarks": [{"name": "mill", "at_m": 9.0, "off_m": 7.0}], "arrays": arrays,
    }  # fmt: skip
    rows = [f"{a:.2f},{b:.2f},4,5" for a, b in zip(x, y, strict=True)]
    edges = [f"{a:.2f};{b:.2f};{1.4 * a:.2f};{1.4 * b:.2f}" for a, b in zip(x, y, strict=True)]
    return [
        json.dumps(document).encode(),
        "\n".join(["x [m],y [m],right,left", *rows]).encode(),
        "\n".join(edges).encode(),
    ]


def _lines() -> list[bytes]:
    rows = [f"{i},{i * i / 10}" for i in range(9)]
    return [
        "\n".join(["x_m,y_m", *rows]).encode(),
        "\n".join(rows).replace(",", ";").encode(),
        "\n".join(["# n\ty [m]\tx [m]", *(f"0\t{i}.5\t-{i}e0" for i in range(9))]).encode(),
    ]


def _mappings() -> list[bytes]:
    return [
        b'[channels.speed]\ncolumn = "GS"\nunit = "km/h"\nscale = 1.5\ninvert = false\n'
        b'[channels.brake]\ncolumn = "#6"\ndelay_s = -0.05\n[channels.time]\nrate = "20 Hz"\n'
    ]


def _cars() -> list[bytes]:
    limits = "".join(
        f"[{name}]\nat_rest_mps2 = {{value = {a}, low = {a - 1}, high = {a + 1}}}\nper_v2_1pm = 0\n"
        for name, a in (("lateral", 12.0), ("brake", 11.0), ("drive", 6.0))
    )
    return [
        b"mass_kg = 900.0\npower_w = 120000\ndrag_area_m2 = 0.7\n"
        b"grip_forward = 1.1\ngrip_lateral = 1.2\neye_position_m = [0.1, 0.3, 1.1]\n",
        b"power_per_mass_wpkg = {value = 150.0, low = 140.0, high = 160.0}\n"
        b"drag_per_mass_1pm = 0.0005\n" + limits.encode(),
    ]


def _notes() -> list[bytes]:
    return [
        b'landmark_lines = "mill: at 120 m, left"\n[session]\ndriver = "a"\n'
        b'[[corners]]\ncorner = 1\nname = "mill"\ntext = ["brake early"]\n'
        b'[[landmarks]]\nname = "tree"\nat_m = 120\nside = "left"\noff_m = 4.0\n'
        b'[[merges]]\ncorners = [1, 2]\n[[advice]]\nat_m = 4.5\nabout = "x"\nhide = true\n',
        b'renumber = true\n[[kerbs]]\nstart_m = 10\nend_m = 20.5\nside = "right"\n'
        b'[[splits]]\ncorner = 3\nat_m = 4\n[[references]]\ncorner = 1\naction = "brake"\n'
        b'reference = "sign"\n',
    ]


def _archives() -> list[bytes]:
    import io
    import zipfile

    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", "time,lat\n1,2\n" * 20)
        archive.writestr("b/c.gpx", "<gpx/>")
    return [out.getvalue()]


def _blocks() -> list[bytes]:
    """Make a skeleton of ASAM MDF 4: header, two data groups, a channel group, two channels."""

    def block(kind: bytes, links: list[int], body: int) -> bytes:
        size = 24 + 8 * len(links) + body
        words = [size.to_bytes(8, "little"), len(links).to_bytes(8, "little")]
        return (
            b"##"
            + kind
            + bytes(4)
            + b"".join(words + [v.to_bytes(8, "little") for v in links])
            + bytes(body)
        )

    places = {"HD": 64, "DG": 168, "DG2": 232, "CG": 296, "CN": 400, "CN2": 560}
    made = b"MDF     4.10    invented" + bytes(40)
    made += block(b"HD", [places["DG"], 0, 0, 0, 0, 0], 32)
    made += block(b"DG", [places["DG2"], places["CG"], 0, 0], 8)
    made += block(b"DG", [0, 0, 0, 0], 8)
    made += block(b"CG", [0, places["CN"], 0, 0, 0, 0], 32)
    made += block(b"CN", [places["CN2"], 0, 0, 0, 0, 0, 0, 0], 72)
    made += block(b"CN", [0, 0, 0, 0, 0, 0, 0, 0], 72)
    return [made]
