"""A small crossing of four roads, and a machine that drives over it exactly as told."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from crossfall.model import Network, Node, Segment
from crossfall.network import LocalPlane
from crossfall.network.fixes import Fixes

PLANE = LocalPlane(-101.0, 46.0)
START_S = 1_777_896_000.0
"""2026-05-04 12:00 UTC."""


def crossing(arm_m: float = 1000.0) -> Network:
    """Four roads of ``arm_m`` that meet at ``n0``: east, north, west and south."""
    ends = {
        "east": (arm_m, 0.0),
        "north": (0.0, arm_m),
        "west": (-arm_m, 0.0),
        "south": (0, -arm_m),
    }
    lon, lat = PLANE.to_lonlat([0.0], [0.0])
    nodes = [Node("n0", float(lon[0]), float(lat[0]))]
    segments = []
    for name, (x, y) in ends.items():
        lon, lat = PLANE.to_lonlat([x], [y])
        nodes.append(Node(name[0], float(lon[0]), float(lat[0])))
        line = ((nodes[0].lon, nodes[0].lat), (nodes[-1].lon, nodes[-1].lat))
        segments.append(
            Segment(
                f"road-{name}", f"{name.title()} Road", "n0", name[0], 0.0, arm_m, line,
                surface="gravel",
            )
        )  # fmt: skip
    return Network(tuple(nodes), tuple(segments))


def drive(
    legs: Sequence[tuple[tuple[float, float], tuple[float, float], float, int]],
    *,
    every_s: float = 2.0,
    noise_m: float = 0.0,
    seed: int = 1,
    pause_s: float = 60.0,
    start_s: float = START_S,
) -> Fixes:
    """Fixes along straight legs: from (x, y), to (x, y) [m], km/h, and blade -1, 0 or 1."""
    rng = np.random.default_rng(seed)
    times, xs, ys, blades = [], [], [], []
    now = start_s
    for (x0, y0), (x1, y1), km_h, blade in legs:
        seconds = np.hypot(x1 - x0, y1 - y0) / (km_h / 3.6)
        share = np.arange(0.0, seconds, every_s) / seconds
        times.append(now + share * seconds)
        xs.append(x0 + (x1 - x0) * share)
        ys.append(y0 + (y1 - y0) * share)
        blades.append(np.full(share.size, blade))
        now += seconds
        halt = np.arange(0.0, pause_s, every_s)
        times.append(now + halt)
        xs.append(np.full(halt.size, x1))
        ys.append(np.full(halt.size, y1))
        blades.append(np.full(halt.size, min(blade, 0)))
        now += pause_s
    x, y = np.concatenate(xs), np.concatenate(ys)
    x, y = x + rng.normal(0, noise_m, x.size), y + rng.normal(0, noise_m, y.size)
    lon, lat = PLANE.to_lonlat(x, y)
    return Fixes(np.concatenate(times), lon, lat, np.concatenate(blades).astype(np.int8))


def as_gpx(fixes: Fixes, path: Path, *, with_blade: bool = True) -> Path:
    """The fixes as a GPX file."""
    points = []
    for time_s, lon, lat, blade in zip(
        fixes.time_s, fixes.lon, fixes.lat, fixes.blade, strict=True
    ):
        when = np.datetime64(int(time_s * 1000), "ms")
        said = f"<extensions><blade>{blade}</blade></extensions>" if with_blade else ""
        points.append(
            f'<trkpt lat="{float(lat)!r}" lon="{float(lon)!r}"><time>{when}Z</time>{said}</trkpt>'
        )
    text = "\n".join(points)
    path.write_text(
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>\n'
        f"{text}\n</trkseg></trk></gpx>\n",
        encoding="utf-8",
    )
    return path
