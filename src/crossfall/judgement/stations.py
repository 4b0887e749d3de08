"""Which weather a road gets, and which roads are alike.

Every segment takes the nearest station within the policy's distance of the middle of its line.
Segments with the same station, material, drainage, shade and thickness have the same moisture;
they are followed once, as a *group*, and spread out again at the end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.layer import Layer, make_layer, saturation_pct
from crossfall.formulas.moisture_class import Bands, workable_bands
from crossfall.model.condition import Condition
from crossfall.model.need import Treatment
from crossfall.model.network import Drainage, Segment, Shade
from crossfall.model.policy.moisture import MoisturePolicy
from crossfall.model.record import WorkRecord
from crossfall.model.weather import Station

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

EARTH_RADIUS_KM = 6371.0088
"""Mean radius (IUGG)."""
_WORSE: dict[Drainage, Drainage] = {"good": "fair", "fair": "poor", "poor": "poor"}


@dataclass(frozen=True, eq=False)
class Groups:
    """Segments that are alike: ``of_segment`` points into arrays of shape (group,)."""

    of_segment: Ints
    station: Ints
    """Station of each group; -1 where none is near enough."""
    representative: Ints
    """One segment of each group."""
    optimum_pct: Floats
    layer: Layer
    bands: Bands

    @property
    def n_groups(self) -> int:
        return int(self.station.shape[0])


def distance_km(
    lon_a: npt.ArrayLike, lat_a: npt.ArrayLike, lon_b: npt.ArrayLike, lat_b: npt.ArrayLike
) -> Floats:
    """Great-circle distance [km] (haversine), arrays broadcast.

    Examples
    --------
    >>> print(f"{distance_km(0, 0, 0, 1):.1f}")
    111.2
    """
    a_lon, a_lat, b_lon, b_lat = (
        np.radians(np.asarray(each, float)) for each in (lon_a, lat_a, lon_b, lat_b)
    )
    chord = (
        np.sin((b_lat - a_lat) / 2) ** 2
        + np.cos(a_lat) * np.cos(b_lat) * np.sin((b_lon - a_lon) / 2) ** 2
    )
    return np.asarray(2 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.clip(chord, 0.0, 1.0))))


def middle_of(segments: Sequence[Segment]) -> tuple[Floats, Floats]:
    """Longitude and latitude of the middle vertex of each segment's line."""
    lon = np.array([segment.line[len(segment.line) // 2][0] for segment in segments], float)
    lat = np.array([segment.line[len(segment.line) // 2][1] for segment in segments], float)
    return lon, lat


def nearest_station(
    segments: Sequence[Segment], stations: Sequence[Station], *, max_km: float
) -> Ints:
    """Index of the nearest station for each segment, -1 where none is within ``max_km``.

    Raises
    ------
    InputError
        If there is no station, or none is near any segment.
    """
    if not stations:
        raise InputError("there is no weather record; read one before asking for moisture")
    lon, lat = middle_of(segments)
    away = distance_km(
        lon[:, None],
        lat[:, None],
        [station.lon for station in stations],
        [station.lat for station in stations],
    )
    nearest = np.argmin(away, axis=1).astype(np.int64)
    best = away[np.arange(len(segments)), nearest]
    if best.size and best.min() > max_km:
        at = int(np.argmin(best))
        raise InputError(
            f"the nearest weather station, {stations[nearest[at]].name}, is {best[at]:.0f} km"
            f" from segment {segments[at].id}; expected at most {max_km:g} km"
            " (policy moisture.station_max_km), maybe lon and lat are swapped"
        )
    nearest[best > max_km] = -1
    return nearest


def drainage_now(
    segments: Sequence[Segment],
    conditions: Sequence[Condition],
    records: Sequence[WorkRecord],
    *,
    today: date,
) -> list[Drainage]:
    """Drainage of each segment; a ditch seen blocked and not cleaned since makes it worse."""
    seen: dict[str, Condition] = {}
    for condition in sorted(conditions, key=lambda each: each.observed_on):
        if condition.observed_on <= today:
            seen[condition.segment_id] = condition
    cleaned: dict[str, date] = {}
    for record in records:
        if record.treatment is Treatment.DITCH_CLEANING and record.done_on <= today:
            latest = cleaned.get(record.segment_id, record.done_on)
            cleaned[record.segment_id] = max(latest, record.done_on)
    found: list[Drainage] = []
    for segment in segments:
        look = seen.get(segment.id)
        is_blocked = (
            look is not None
            and look.is_ditch_blocked
            and not cleaned.get(segment.id, date.min) >= look.observed_on
        )
        found.append(_WORSE[segment.drainage] if is_blocked else segment.drainage)
    return found


def group_segments(
    segments: Sequence[Segment],
    drainage: Sequence[Drainage],
    station: Ints,
    policy: MoisturePolicy,
    *,
    apart: Sequence[object] | None = None,
) -> Groups:
    """Put alike segments together and turn their materials into layers.

    ``apart`` holds one hashable per segment; segments that differ in it are never grouped.

    Raises
    ------
    InputError
        If a segment names an unknown material or has a negative thickness.
    """
    keys = [
        _Key(
            int(station[i]),
            segment.material,
            drainage[i],
            segment.shade,
            _layer_mm(segment, policy),
            None if apart is None else apart[i],
        )
        for i, segment in enumerate(segments)
    ]
    place: dict[_Key, int] = {}
    first: dict[_Key, int] = {}
    for i, segment in enumerate(segments):
        if segment.material not in policy.materials:
            raise InputError(
                f"segment {segment.id} has material {segment.material!r}; expected one of"
                f" {', '.join(policy.materials)} (policy moisture.materials)"
            )
        place.setdefault(keys[i], len(place))
        first.setdefault(keys[i], i)
    unique = list(place)
    materials = [policy.materials[key.material] for key in unique]
    drains = {
        "good": policy.drain_per_day_good,
        "fair": policy.drain_per_day_fair,
        "poor": policy.drain_per_day_poor,
    }
    shades = {
        "open": policy.shade_open,
        "partial": policy.shade_partial,
        "forest": policy.shade_forest,
    }
    density = np.array([each.dry_density_kg_m3 for each in materials])
    gravity = np.array([each.specific_gravity for each in materials])
    optimum = np.array([each.optimum_pct for each in materials])
    layer = make_layer(
        thickness_m=np.array([key.layer_mm / 1000 for key in unique]),
        dry_density_kg_m3=density,
        specific_gravity=gravity,
        optimum_pct=optimum,
        field_capacity_pct=np.array([each.field_capacity_pct for each in materials]),
        air_dry_pct=np.array([each.air_dry_pct for each in materials]),
        rew_mm=np.array([each.readily_evaporable_mm for each in materials]),
        drain_per_day=np.array([drains[key.drainage] for key in unique]),
        curve_number=np.full(len(unique), policy.curve_number),
        et_factor=policy.bare_road_kc * np.array([shades[key.shade] for key in unique]),
        conductivity_w_m_k=policy.frozen_conductivity_w_m_k,
        rew_max_share=policy.rew_max_share,
    )
    bands = workable_bands(
        optimum,
        saturation_pct(density, gravity),
        below_pct=policy.band_below_optimum_pct,
        above_pct=policy.band_above_optimum_pct,
        saturation_share=policy.band_saturation_share,
        dry_share=policy.dry_optimum_share,
    )
    return Groups(
        of_segment=np.array([place[key] for key in keys], dtype=np.int64),
        station=np.array([key.station for key in unique], dtype=np.int64),
        representative=np.array(list(first.values()), dtype=np.int64),
        optimum_pct=optimum,
        layer=layer,
        bands=bands,
    )


class _Key(NamedTuple):
    station: int
    material: str
    drainage: Drainage
    shade: Shade
    layer_mm: float
    apart: object


def _layer_mm(segment: Segment, policy: MoisturePolicy) -> float:
    if not segment.gravel_mm >= 0:
        raise InputError(
            f"segment {segment.id} has gravel_mm {segment.gravel_mm:g}; expected 0 or more"
        )
    rounded = round(segment.gravel_mm / policy.layer_step_mm) * policy.layer_step_mm
    return min(max(rounded, policy.layer_min_mm), policy.layer_max_mm)
