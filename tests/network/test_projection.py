"""The flat plane against geodesics on the ellipsoid."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from crossfall.errors import InputError
from crossfall.network import LocalPlane


@pytest.mark.parametrize("lat", [-60.0, 0.0, 40.5, 68.0])
def test_scale_error_at_100_km_is_x_squared_over_two_r_squared(lat: float) -> None:
    """0.012 % at 100 km from the middle, nothing on the middle meridian."""
    plane = LocalPlane(10.0, lat)
    geod = Geod(ellps="WGS84")
    lon, lat2, _ = geod.fwd(10.0, lat, 90.0, 100_000.0)
    a = np.array([lon, lon]), np.array([lat2, lat2 + 0.01])
    x, y = plane.to_plane(*a)
    drawn = np.hypot(np.diff(x), np.diff(y))[0]
    _, _, true = geod.inv(a[0][0], a[1][0], a[0][1], a[1][1])
    assert drawn / true - 1 == pytest.approx(0.000123, abs=2e-6)
    x, y = plane.to_plane([10.0, 10.0], [lat, lat + 0.01])
    _, _, true = geod.inv(10.0, lat, 10.0, lat + 0.01)
    assert np.hypot(np.diff(x), np.diff(y))[0] == pytest.approx(true, rel=1e-9)


def test_there_and_back() -> None:
    plane = LocalPlane(-107.0, 40.5)
    rng = np.random.default_rng(3)
    lon, lat = rng.uniform(-108, -106, 500), rng.uniform(39.5, 41.5, 500)
    back = plane.to_lonlat(*plane.to_plane(lon, lat))
    assert np.abs(np.array(back) - np.array([lon, lat])).max() < 1e-11


def test_a_centre_that_is_no_place_is_refused() -> None:
    with pytest.raises(InputError, match="is not a longitude and a latitude"):
        LocalPlane(40.5, -107.0)
    with pytest.raises(InputError, match="no place"):
        LocalPlane.around([], [])
