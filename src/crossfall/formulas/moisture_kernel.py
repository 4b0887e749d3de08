"""The layer balance as one compiled loop, for many segments, members or years.

The same steps as the numpy reference in :mod:`crossfall.formulas.moisture`, in the same order; a
test holds the two together. One thread, and the interpreter lock is released: a web server may
call it from several threads at once.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from crossfall.formulas.runoff import ABSTRACTION

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]


@njit(cache=True, nogil=True)
def layer_steps(
    liquid_mm: Floats,
    before_mm: Floats,
    et0_mm: Floats,
    frost_index: Floats,
    is_weak: Bools,
    station: Ints,
    field_capacity_mm: Floats,
    saturation_mm: Floats,
    tew_mm: Floats,
    rew_mm: Floats,
    drain_share: Floats,
    storage_mm: Floats,
    et_factor: Floats,
    freeze_through: Floats,
    is_exact: bool,
    has_fluxes: bool,
    day_share: Floats,
    steps_a_day: int,
    water_mm: Floats,
    runoff_mm: Floats,
    evaporation_mm: Floats,
    drainage_mm: Floats,
) -> None:
    """Run all steps in place.

    Weather is (member, station, step), ``rew_mm`` (member, segment), other properties (segment,).
    ``water_mm`` (member, segment, step + 1) holds the start in its first entry. The fluxes are
    (member, segment, step) when ``has_fluxes``; otherwise their last axis has one entry that
    takes the total. ``before_mm`` may be empty when steps are days. With ``steps_a_day`` above 0
    each day's drainage is taken as :func:`~crossfall.formulas.moisture.run_layer` says of
    ``by_day``; with 0 it goes on evenly.
    """
    n_members, n_segments = rew_mm.shape
    n_steps = liquid_mm.shape[2]
    has_before = before_mm.size > 0
    for member in range(n_members):
        for segment in range(n_segments):
            at = station[segment]
            capacity = field_capacity_mm[segment]
            full = saturation_mm[segment]
            tew = tew_mm[segment]
            rew = rew_mm[member, segment]
            slow = 1.0 / (tew - rew)
            storage = storage_mm[segment]
            first_loss = ABSTRACTION * storage
            share = drain_share[segment]
            factor = et_factor[segment]
            frozen_at = freeze_through[segment]
            water = water_mm[member, segment, 0]
            held = 0.0
            for step in range(n_steps):
                liquid = liquid_mm[member, at, step]
                off = 0.0
                if liquid > 0.0:
                    before = before_mm[member, at, step] if has_before else 0.0
                    over = before + liquid - first_loss
                    if over > 0.0:
                        off = over * over / (over + storage)
                    over = before - first_loss
                    if over > 0.0:
                        off -= over * over / (over + storage)
                    water += liquid - off
                    if water > full:
                        off += water - full
                        water = full
                drained = 0.0
                now = share
                is_dawn = steps_a_day > 0 and step % steps_a_day == 0
                if is_dawn:
                    held = 0.0
                    now = day_share[segment]
                dried = water
                if frost_index[member, at, step] < frozen_at:
                    if water > capacity + held and not is_weak[member, at, step]:
                        drained = now * (water - capacity - held)
                        water -= drained
                    if is_dawn:
                        held = max(water - capacity, 0.0)
                    potential = factor * et0_mm[member, at, step]
                    depletion = capacity - water
                    if is_exact:
                        first = min(potential, max(rew - depletion, 0.0))
                        depletion += first
                        if potential > first:
                            depletion = tew - (tew - depletion) * np.exp(
                                -(potential - first) * slow
                            )
                    else:
                        rate = min(max((tew - depletion) * slow, 0.0), 1.0)
                        depletion = min(depletion + rate * potential, tew)
                    dried = capacity - depletion
                if has_fluxes:
                    runoff_mm[member, segment, step] = off
                    drainage_mm[member, segment, step] = drained
                    evaporation_mm[member, segment, step] = water - dried
                else:
                    runoff_mm[member, segment, 0] += off
                    drainage_mm[member, segment, 0] += drained
                    evaporation_mm[member, segment, 0] += water - dried
                water = dried
                held = min(held, max(water - capacity, 0.0))
                water_mm[member, segment, step + 1] = water
