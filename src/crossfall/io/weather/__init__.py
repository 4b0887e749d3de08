"""Weather in: observed days and forecasts from files, with everything that is odd about them.

Missing rain is unknown, never zero. An impossible figure becomes unknown and is
reported. A column that reads like another unit is refused. Nothing is filled in.
"""

from __future__ import annotations

from crossfall.io.weather.forecast import import_forecast, read_forecast
from crossfall.io.weather.observed import import_weather, read_weather
from crossfall.io.weather.report import ForecastImport, WeatherImport, WeatherReport

__all__ = [
    "ForecastImport",
    "WeatherImport",
    "WeatherReport",
    "import_forecast",
    "import_weather",
    "read_forecast",
    "read_weather",
]
