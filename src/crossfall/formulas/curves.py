"""Where a road turns: curves found from its drawn line, for the steps on a card."""

from __future__ import annotations

import numpy as np

from crossfall.formulas.given import Floats, positive

_WINDOW = 3
"""Steps on each side over which a turn is told from a drawn corner."""


def curve_spans(
    x_m: Floats, y_m: Floats, *, step_m: float, radius_m: float, least_turn_deg: float
) -> tuple[tuple[float, float, float], ...]:
    """Stretches of a line that turn within a radius.

    Parameters
    ----------
    x_m, y_m : array (point,)
        The line in metres. [m]
    step_m : float
        The line is looked at in steps of about this length. [m]
    radius_m : float
        Wider curves are taken for straight. [m]
    least_turn_deg : float
        Curves that turn less in all are left out. [degrees]

    Returns
    -------
    tuple of (from_m, to_m, turn_deg)
        Along the line; a turn to the left is positive.

    Examples
    --------
    A quarter turn of 100 m radius (157 m long) between two straights, found to within a step:

    >>> angle = np.radians(np.arange(0, 91, 3))
    >>> x = np.concatenate([[-200.0], 100 * np.sin(angle), [100.0]])
    >>> y = np.concatenate([[0.0], 100 - 100 * np.cos(angle), [300.0]])
    >>> [(round(a, -1), round(b, -1), round(t)) for a, b, t in
    ...  curve_spans(x, y, step_m=10.0, radius_m=150.0, least_turn_deg=20.0)]
    [(200.0, 350.0, 89)]
    """
    positive("radius_m", radius_m)
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x_m), np.diff(y_m)))])
    n_steps = int(along[-1] // positive("step_m", step_m))
    if n_steps < 2 * _WINDOW + 2:
        return ()
    at = np.linspace(0.0, along[-1], n_steps + 1)
    step = at[1]
    heading = np.unwrap(
        np.arctan2(np.diff(np.interp(at, along, y_m)), np.diff(np.interp(at, along, x_m)))
    )
    turned = np.convolve(np.diff(heading), np.ones(_WINDOW) / _WINDOW, mode="same")
    is_curve = np.abs(turned) * radius_m > step
    edges = np.flatnonzero(np.diff(np.concatenate([[False], is_curve, [False]])))
    found = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        before, behind = max(first - 1, 0), min(last + 1, len(heading) - 1)
        turn = float(np.degrees(heading[behind] - heading[before]))
        if abs(turn) >= least_turn_deg:
            found.append((float(at[first]), float(at[last + 1]), turn))
    return tuple(found)
