"""Words of agencies and what they mean here: column names, surfaces, classes, kinds."""

from __future__ import annotations

from crossfall.io.network import tags as osm_tags
from crossfall.model.network import FeatureKind, RoadClass, Surface

WELL_KNOWN: dict[str, tuple[str, ...]] = {
    "id": ("segment_id", "id", "road_id", "roadid", "seg_id", "segmentid", "external_id"),
    "route": (
        "route", "name", "road_name", "roadname", "street", "street_name", "streetname",
        "fullname", "full_name", "rd_name", "st_name",
    ),
    "road_class": (
        "road_class", "roadclass", "class", "func_class", "functional_class", "funcclass",
        "highway",
    ),
    "surface": ("surface", "surface_type", "surfacetype", "surf_type", "surftype", "surf"),
    "width_m": (
        "width_m", "width_ft", "width", "road_width", "road_width_m", "road_width_ft",
        "surf_width", "surf_width_m", "surf_width_ft",
    ),
    "adt": ("adt", "aadt"),
    "adt_method": ("adt_method",),
    "width_method": ("width_method",),
    "gravel_method": ("gravel_method",),
    "surface_source": ("surface_source",),
    "heavy_share": ("heavy_share",),
    "jurisdiction": ("jurisdiction", "owner", "ownership", "maint_by", "maintained_by"),
    "district": ("district",),
    "is_maintained": ("is_maintained", "maintained"),
    "is_oneway": ("is_oneway", "oneway", "one_way"),
    "length_m": ("length_m", "length_ft", "length_km", "length_mi", "miles"),
    "travel_km_h": ("travel_km_h",),
    "material": ("material",),
    "drainage": ("drainage",),
    "shade": ("shade",),
    "serves": ("serves",),
    "gravel_mm": ("gravel_mm",),
    "grade_pct": ("grade_pct",),
    "max_mass_t": ("max_mass_t",),
    "is_bridge": ("is_bridge", "bridge"),
    "level": ("level", "layer"),
    "wkt": ("wkt", "geometry", "geom", "the_geom"),
}  # fmt: skip
"""Column names found without a mapping, in lower case, first match first."""

SURFACE_WORDS: dict[str, Surface] = {
    **osm_tags.SURFACE,
    **dict.fromkeys(("gravel", "aggregate", "crushed rock", "crushed stone", "stone"), "gravel"),
    **dict.fromkeys(("earth", "dirt", "native", "native material", "unimproved"), "earth"),
    **dict.fromkeys(("paved", "asphalt", "concrete", "bituminous", "chip seal"), "paved"),
    **dict.fromkeys(("unknown", ""), "unknown"),
}

CLASS_WORDS: dict[str, RoadClass] = {
    **osm_tags.ROAD_CLASS,
    **dict.fromkeys(("arterial", "principal arterial", "minor arterial", "major"), "arterial"),
    **dict.fromkeys(("collector", "major collector", "minor collector"), "collector"),
    **dict.fromkeys(("local", "local road", "residential"), "local"),
    **dict.fromkeys(("minimum", "minimum maintenance", "primitive"), "minimum"),
}

KIND_WORDS: dict[str, FeatureKind] = {
    "bridge": "bridge",
    **dict.fromkeys(
        ("rail_crossing", "level_crossing", "railroad_crossing", "railway_crossing"),
        "rail_crossing",
    ),
    **dict.fromkeys(("culvert", "cross_culvert", "pipe_culvert"), "culvert"),
    "gate": "gate",
    **dict.fromkeys(("cattle_guard", "cattle_grid", "texas_gate"), "cattle_guard"),
    **dict.fromkeys(("ford", "low_water_crossing"), "ford"),
    **dict.fromkeys(("driveway", "access", "approach"), "driveway"),
    **dict.fromkeys(("pipeline", "gas_line", "water_line"), "pipeline"),
    **dict.fromkeys(("overhead_line", "power_line", "overhead_power_line"), "overhead_line"),
    **dict.fromkeys(
        ("survey_monument", "survey_point", "survey_marker", "monument", "section_corner"),
        "survey_monument",
    ),
    "sign": "sign",
    **dict.fromkeys(("well", "water_well"), "well"),
    **dict.fromkeys(("stream", "creek", "river"), "stream"),
    **dict.fromkeys(("wetland", "marsh", "bog"), "wetland"),
    **dict.fromkeys(("right_of_way", "row", "property_line"), "right_of_way"),
}
"""Kinds of point features, in lower case with underscores."""
