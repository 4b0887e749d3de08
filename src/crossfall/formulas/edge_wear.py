"""Cutting edges: how far one set goes and what a kilometre of pass costs in steel.

No published figure for blading saved by a dearer edge was found, so none is used: a saving
counts only when the agency has measured it.
"""

from __future__ import annotations

from crossfall.formulas.given import at_least, positive, share_of_hour


def edge_life_km(life_h: float, speed_km_h: float, efficiency: float) -> float:
    """Pass-kilometres in the life of a set: ``life S E``. [km]

    Examples
    --------
    >>> edge_life_km(60.0, 8.0, 1.0)
    480.0
    """
    positive("life_h", life_h)
    positive("speed_km_h", speed_km_h)
    return life_h * speed_km_h * share_of_hour("efficiency", efficiency)


def edge_cost_per_km(
    set_price: float, change_h: float, change_rate_h: float, life_km: float
) -> float:
    """Money for one pass-kilometre: ``(price + change hours × rate) / life``.

    Examples
    --------
    >>> edge_cost_per_km(300.0, 0.0, 0.0, 480.0)
    0.625
    """
    at_least("set_price", set_price, 0.0)
    at_least("change_h", change_h, 0.0)
    at_least("change_rate_h", change_rate_h, 0.0)
    return (set_price + change_h * change_rate_h) / positive("life_km", life_km)


def break_even_life_h(
    price: float, change_h: float, change_rate_h: float, *, against_per_h: float
) -> float:
    """Hours a set must last to cost no more for an hour than another does. [h]

    Examples
    --------
    >>> break_even_life_h(1800.0, 1.0, 100.0, against_per_h=5.0)
    380.0
    """
    at_least("price", price, 0.0)
    at_least("change_h", change_h, 0.0)
    at_least("change_rate_h", change_rate_h, 0.0)
    return (price + change_h * change_rate_h) / positive("against_per_h", against_per_h)
