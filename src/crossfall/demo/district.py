"""The invented Osier Valley District, whole."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np

from crossfall.demo.crew import make_fleet
from crossfall.demo.gravel import fitted_edges, material_tests, pile_entries
from crossfall.demo.history import hazards, observations, requests, work_records
from crossfall.demo.land import on_globe
from crossfall.demo.leave import clearances, rail_agreements, with_a_failed_base
from crossfall.demo.sheet import Sheet, draw_sheet
from crossfall.demo.sky import forecasts, past_weather
from crossfall.demo.survey import days_since_blading, survey
from crossfall.model import Backdrop, District, Fleet, Station

NAME = "Osier Valley District (invented)"
N_SEGMENTS = 600


def osier_valley(*, seed: int = 1, today: date) -> District:
    """A district with about 700 km of gravel in 600 segments, on the morning of ``today``.

    Five graders, three yards, three pits; a survey, months of records, two years
    of weather with a storm of 15 to 25 mm two days ago, and a forecast of twenty
    members for ten days. All of it is invented and says so.

    Examples
    --------
    >>> district = osier_valley(today=date(2026, 6, 10))
    >>> len(district.network.maintained), len(district.fleet.graders), district.is_invented
    (600, 5, True)
    """
    sheet = draw_sheet(N_SEGMENTS, seed)
    network = replace(sheet.network, backdrop=_backdrop(sheet))
    fleet = make_fleet(sheet)
    rng = np.random.default_rng([seed, 99])
    since_blading = days_since_blading(network, rng)
    conditions = with_a_failed_base(survey(network, since_blading, today=today, rng=rng))
    stations = _stations(fleet)
    weather = past_weather(stations, seed=seed, today=today)
    return District(
        name=NAME,
        network=network,
        fleet=fleet,
        conditions=conditions,
        weather=weather,
        forecasts=forecasts(stations, weather, seed=seed, today=today),
        observations=observations(network, today=today, rng=rng),
        hazards=hazards(network, today=today),
        requests=requests(network, conditions, today=today),
        records=work_records(network, since_blading, today=today, rng=rng),
        is_invented=True,
        material_tests=material_tests(fleet, today=today),
        pile_entries=pile_entries(fleet, today=today),
        edges=fitted_edges(fleet, today=today),
        clearances=(
            *clearances(network, conditions, today=today),
            *rail_agreements(network, today=today),
        ),
    )


def _backdrop(sheet: Sheet) -> tuple[Backdrop, ...]:
    creeks = (Backdrop("stream", _lonlat(sheet, creek)) for creek in sheet.land.creeks)
    return (*creeks, Backdrop("rail", _lonlat(sheet, sheet.land.rail)))


def _lonlat(sheet: Sheet, path: np.ndarray) -> tuple[tuple[float, float], ...]:
    globe = on_globe(path, sheet.land.width_m, sheet.land.height_m)
    return tuple((lon, lat) for lon, lat in globe.tolist())


def _stations(fleet: Fleet) -> tuple[Station, ...]:
    """A gauge at each yard."""
    yards = [place for place in fleet.places if place.kind == "yard"]
    return tuple(
        Station(f"gauge-{number}", f"{yard.name} gauge (invented)", yard.lon, yard.lat, 400.0)
        for number, yard in enumerate(yards, start=1)
    )
