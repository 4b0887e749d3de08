"""Invented days of a grader over real road lines, with what truly happened beside every fix.

The parameters below were fixed before the matcher was written and are not tuned: a matcher is
judged by days it has not chosen. The roads are the real networks in ``../shared/data/nets`` where
that folder is present, and three invented section grids where it is not.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from crossfall.io.network import NetworkOptions, read_network
from crossfall.model import Network, Node, Segment
from crossfall.network import LocalPlane, RoadGraph, build_graph

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

NOISE_M = 6.5
"""Standard deviation of a fix, east and north each [m]."""
NOISE_RHO = 0.9
"""Correlation of the noise from one fix to the next; one day of the ten has white noise."""
RIGHT_OF_CENTRE_M = 1.8
"""A machine keeps to the right of the drawn line [m]."""
FAULTY_BLADE_SHARE = 0.05
"""Fixes whose blade bit says the opposite."""
LOST_SHARE = 0.01
SPIKE_SHARE = 0.0005
SPIKE_M = 900.0
SHIFT_S = 8 * 3600.0
WORK_SPEEDS_KM_H = ((0.60, 4.5, 7.5), (0.25, 7.5, 8.5), (0.15, 8.5, 12.0))
"""Shares of passes and the speeds they are drawn from; a quarter lies around 8 km/h."""
TRAVEL_KM_H = (20.0, 35.0)
SPEED_WANDER = 0.05
"""Relative wander of the speed within a leg, over about half a minute."""
PASSES = ((1, 0.10), (2, 0.35), (3, 0.20), (4, 0.25), (6, 0.10))
PARTIAL_SHARE = 0.25
SHORTEST_M = 150.0
"""A shorter segment is not worked on its own [m]."""
TURN_S = (40.0, 90.0)
LUNCH_S = 1800.0
INTERVALS_S = (1.0, 5.0, 15.0)
FAST_KM_H = 8.0
CLEARLY_FAST_KM_H = 8.5
"""A leg truly above this must be flagged, one at or below ``FAST_KM_H`` must not; between the two
either answer is right."""
NETS = ("north-bayreuth.osm.gz", "liechtenstein-2013.osm.pbf", "colorado-routt.osm")
_FOLDER = Path(__file__).resolve().parents[2] / "shared" / "data" / "nets"
_START_S = 1_777_896_000.0


@dataclass(frozen=True)
class TrueLeg:
    """One drive over one stretch of one segment."""

    segment: int
    from_m: float
    to_m: float
    """Where it began and ended; falling against increasing measure [m]."""
    start_s: float
    end_s: float
    is_down: bool

    @property
    def length_m(self) -> float:
        return abs(self.to_m - self.from_m)

    @property
    def speed_km_h(self) -> float:
        return 3.6 * self.length_m / (self.end_s - self.start_s)


@dataclass(frozen=True)
class TrackDay:
    """Fixes as a device would give them, and the truth."""

    name: str
    network: Network
    time_s: Floats
    lon: Floats
    lat: Floats
    blade: npt.NDArray[np.int8]
    true_segment: Ints
    is_down: npt.NDArray[np.bool_]
    legs: tuple[TrueLeg, ...]


def days(*, n_days: int | None = None, other: int = 0) -> Iterator[TrackDay]:
    """Ten days over three networks: three fix intervals each, and one day of white noise.

    ``other`` above 0 gives other days of the same kind.
    """
    made = 0
    for number, (name, network) in enumerate(networks()):
        for k, interval in enumerate(INTERVALS_S):
            if n_days is not None and made >= n_days:
                return
            yield a_day(
                network, f"{name}, {interval:g} s", interval, seed=100 * number + k + 1000 * other
            )
            made += 1
        if number == 0 and n_days is None:
            yield a_day(network, f"{name}, 5 s, white noise", 5.0, seed=90 + 1000 * other, rho=0.0)


def networks() -> Iterator[tuple[str, Network]]:
    """Three networks by name; real ones where they are present."""
    if all((_FOLDER / name).is_file() for name in NETS):
        for name in NETS:
            options = NetworkOptions(include_unknown=True)
            yield name.split(".")[0], read_network(_FOLDER / name, options=options).network
        return
    print("the real networks are absent; invented section grids stand in", file=sys.stderr)
    for seed in (1, 2, 3):
        yield f"section grid {seed}", section_grid(seed)


def section_grid(seed: int, *, n: int = 9) -> Network:
    """An invented mile grid with jogs, short cross roads and missing links."""
    rng = np.random.default_rng(seed)
    plane = LocalPlane(-101.0, 46.0)
    step = 1609.344
    segments: list[Segment] = []
    xy = np.array([(c * step, r * step) for r in range(n) for c in range(n)], dtype=float)
    xy += rng.normal(0, 25.0, xy.shape)
    lon, lat = plane.to_lonlat(xy[:, 0], xy[:, 1])
    nodes = [Node(f"n{k}", float(lon[k]), float(lat[k])) for k in range(n * n)]
    for k in range(n * n):
        row, column = divmod(k, n)
        for other, is_there in ((k + 1, column + 1 < n), (k + n, row + 1 < n)):
            if not is_there or rng.random() < 0.12:
                continue
            share = np.linspace(0, 1, 9)[:, None]
            line = xy[k] + (xy[other] - xy[k]) * share
            line[1:-1] += rng.normal(0, 12.0, (7, 2))
            ends = plane.to_lonlat(line[:, 0], line[:, 1])
            places = list(zip(*(each.tolist() for each in ends), strict=True))
            places[0] = (nodes[k].lon, nodes[k].lat)
            places[-1] = (nodes[other].lon, nodes[other].lat)
            length = float(np.hypot(*np.diff(line, axis=0).T).sum())
            segments.append(
                Segment(
                    f"s{len(segments)}", f"Section road {k}", f"n{k}", f"n{other}", 0.0, length,
                    tuple(places), surface="gravel",
                )
            )  # fmt: skip
    return Network(tuple(nodes), tuple(segments))


def a_day(
    network: Network, name: str, interval_s: float, *, seed: int, rho: float = NOISE_RHO
) -> TrackDay:
    """Drive one shift, then look at it with an imperfect device."""
    rng = np.random.default_rng(seed)
    legs = _drive(network, build_graph(network), rng)
    plane = LocalPlane.of(network)
    lines = [plane.line(segment.line) for segment in network.segments]
    t = np.arange(legs[0].start_s, legs[-1].end_s, interval_s)
    n = t.size
    x, y = np.empty(n), np.empty(n)
    segment, is_down = np.zeros(n, dtype=np.int64), np.zeros(n, dtype=np.bool_)
    starts = np.array([leg.start_s for leg in legs])
    which = np.searchsorted(starts, t, side="right") - 1
    for k in np.unique(which).tolist():
        leg, mine = legs[k], which == k
        share = np.clip((t[mine] - leg.start_s) / (leg.end_s - leg.start_s), 0.0, 1.0)
        # The speed wanders by a few percent, and comes out even over the leg
        wander = np.sin(2 * np.pi * share * max(1.0, (leg.end_s - leg.start_s) / 60.0))
        span = max(leg.end_s - leg.start_s, 1.0)
        share = np.clip(share + SPEED_WANDER * 60.0 / (2 * np.pi * span) * wander, 0.0, 1.0)
        is_still = t[mine] > leg.end_s
        line = lines[leg.segment]
        along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        drawn = along[-1] / network.segments[leg.segment].length_m
        at = (leg.from_m + share * (leg.to_m - leg.from_m)) * drawn
        sign = 1.0 if leg.to_m > leg.from_m else -1.0
        piece = np.clip(np.searchsorted(along, at, side="right") - 1, 0, len(line) - 2)
        step = line[piece + 1] - line[piece]
        length = np.maximum(np.hypot(step[:, 0], step[:, 1]), 1e-9)
        unit = step / length[:, None] * sign
        x[mine] = np.interp(at, along, line[:, 0]) + RIGHT_OF_CENTRE_M * unit[:, 1]
        y[mine] = np.interp(at, along, line[:, 1]) - RIGHT_OF_CENTRE_M * unit[:, 0]
        segment[mine] = leg.segment
        is_down[mine] = leg.is_down & ~is_still
    noise = rng.normal(0, NOISE_M, (n, 2))
    for k in range(1, n):
        noise[k] = rho * noise[k - 1] + np.sqrt(1 - rho**2) * noise[k]
    x, y = x + noise[:, 0], y + noise[:, 1]
    spikes = rng.random(n) < SPIKE_SHARE
    x[spikes] += rng.normal(0, SPIKE_M, int(spikes.sum()))
    y[spikes] += rng.normal(0, SPIKE_M, int(spikes.sum()))
    bit = np.where(rng.random(n) < FAULTY_BLADE_SHARE, ~is_down, is_down).astype(np.int8)
    keep = rng.random(n) >= LOST_SHARE
    for hour in range(int((t[-1] - t[0]) // 3600)):
        gap = t[0] + 3600 * hour + rng.uniform(0, 3500)
        keep &= ~((t >= gap) & (t < gap + 90))
    lon, lat = plane.to_lonlat(x, y)
    return TrackDay(
        name, network, t[keep], lon[keep], lat[keep], bit[keep], segment[keep], is_down[keep],
        tuple(legs),
    )  # fmt: skip


def _drive(network: Network, graph: RoadGraph, rng: np.random.Generator) -> list[TrueLeg]:
    """Travel to a segment, make its passes, go on to one of the nearest not yet done."""
    index = {segment.id: k for k, segment in enumerate(network.segments)}
    node = {node_id: k for k, node_id in enumerate(graph.node_ids)}
    sites = [
        k
        for k, segment in enumerate(network.segments)
        if segment.is_maintained
        and segment.length_m >= SHORTEST_M
        and graph.main_part[node[segment.from_node]]
        and graph.main_part[node[segment.to_node]]
    ]
    here = network.segments[sites[int(rng.integers(len(sites)))]].from_node
    now, end = _START_S, _START_S + SHIFT_S
    legs: list[TrueLeg] = []
    done: set[int] = set()
    had_lunch = False
    while now < end and len(done) < len(sites):
        minutes = graph.travel_minutes([here])[0]
        left = [k for k in sites if k not in done]
        left.sort(key=lambda k: float(minutes[node[network.segments[k].from_node]]))
        site = left[int(rng.integers(min(10, len(left))))]
        done.add(site)
        segment = network.segments[site]
        now = _travel(network, graph, index, legs, here, segment.from_node, now, rng)
        first, last = 0.0, segment.length_m
        if rng.random() < PARTIAL_SHARE and segment.length_m > 2 * SHORTEST_M:
            share = rng.uniform(0.4, 0.8)
            first = float(rng.uniform(0, (1 - share) * segment.length_m))
            last = first + share * segment.length_m
            now = _go(legs, site, 0.0, first, _speed(rng, TRAVEL_KM_H), now, is_down=False)
        n_passes = int(rng.choice([n for n, _ in PASSES], p=[p for _, p in PASSES]))
        at = first
        for _ in range(n_passes):
            to = last if at == first else first
            now = _go(legs, site, at, to, _work_speed(rng), now, is_down=True)
            now += float(rng.uniform(*TURN_S))
            at = to
        if not had_lunch and now > _START_S + SHIFT_S / 2:
            now, had_lunch = now + LUNCH_S, True
        leave = segment.length_m if at > segment.length_m / 2 else 0.0
        now = _go(legs, site, at, leave, _speed(rng, TRAVEL_KM_H), now, is_down=False)
        here = segment.to_node if leave > 0 else segment.from_node
    return legs


def _travel(
    network: Network,
    graph: RoadGraph,
    index: dict[str, int],
    legs: list[TrueLeg],
    here: str,
    there: str,
    now: float,
    rng: np.random.Generator,
) -> float:
    for segment_id, is_forward in graph.path(here, there) if here != there else ():
        k = index[segment_id]
        ends = (0.0, network.segments[k].length_m)
        from_m, to_m = ends if is_forward else ends[::-1]
        now = _go(legs, k, from_m, to_m, _speed(rng, TRAVEL_KM_H), now, is_down=False)
    return now


def _go(
    legs: list[TrueLeg],
    segment: int,
    from_m: float,
    to_m: float,
    km_h: float,
    now: float,
    *,
    is_down: bool,
) -> float:
    if abs(to_m - from_m) < 1e-6:
        return now
    end = now + abs(to_m - from_m) / (km_h / 3.6)
    legs.append(TrueLeg(segment, from_m, to_m, now, end, is_down))
    return end


def _speed(rng: np.random.Generator, bounds: tuple[float, float]) -> float:
    return float(rng.uniform(*bounds))


def _work_speed(rng: np.random.Generator) -> float:
    k = int(rng.choice(len(WORK_SPEEDS_KM_H), p=[share for share, _, _ in WORK_SPEEDS_KM_H]))
    return float(rng.uniform(*WORK_SPEEDS_KM_H[k][1:]))
