"""User cost against published and worked figures of docs/methods/years.md."""

from __future__ import annotations

import numpy as np
import pytest

from crossfall.errors import InputError
from crossfall.formulas import user_cost


def test_check_18_repair_published() -> None:
    """Effect of roughness on vehicle operating costs, United States 2015 (published, "up to")."""
    assert user_cost.repair_factor(np.array([3.0, 4.0, 5.0])).tolist() == [1.0, 1.1, 1.4]
    assert user_cost.repair_factor(5.0, is_truck=True) == 1.5


def test_check_23_passes_between_bladings() -> None:
    found = user_cost.best_passes_between_bladings(250, 0.01, 0.0008)
    assert found == pytest.approx(7906, abs=1)
    assert user_cost.best_passes_between_bladings(1000, 0.01, 0.0008) == pytest.approx(2 * found)


def test_no_cost_on_a_smooth_road() -> None:
    assert user_cost.yearly_user_cost(2.5, 500, 2, voc_per_km=0.35, share_per_iri=0.03) == 0


def test_tolerated_speed_falls_as_one_over_roughness() -> None:
    assert user_cost.tolerated_speed_km_h(5) == pytest.approx(
        2 * user_cost.tolerated_speed_km_h(10)
    )
    with pytest.raises(InputError, match="iri is 0"):
        user_cost.tolerated_speed_km_h(0)
