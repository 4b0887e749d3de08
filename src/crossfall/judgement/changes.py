"""What a new look, gauge reading or forecast changed: two states of the same days compared."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.formulas.moisture_class import MoistureClass
from crossfall.judgement.state import MoistureState


@dataclass(frozen=True, slots=True)
class StateChange:
    """One segment whose most likely class on one day is another one now."""

    segment_id: str
    day: date
    was: MoistureClass
    now: MoistureClass
    p_workable_was: float
    p_workable_now: float


def state_changes(
    before: MoistureState, after: MoistureState, *, day: date | None = None
) -> tuple[StateChange, ...]:
    """Segments whose most likely class differs on ``day`` (the first common day when None).

    Segments that only one of the two knows are left out.

    Raises
    ------
    InputError
        If the two have no day in common, or ``day`` is outside one of them.
    """
    if day is None:
        day = max(before.first_day, after.first_day)
        if (day - before.first_day).days >= before.n_days or (
            day - after.first_day
        ).days >= after.n_days:
            raise InputError(
                f"states from {before.first_day} and {after.first_day} share no day to compare"
            )
    was, now = _likely(before, before.day_index(day)), _likely(after, after.day_index(day))
    found = []
    for segment_id, row in after.index_by_id.items():
        old = before.index_by_id.get(segment_id)
        if old is None or was[old] == now[row]:
            continue
        found.append(
            StateChange(
                segment_id,
                day,
                MoistureClass(int(was[old])),
                MoistureClass(int(now[row])),
                float(before.p_workable[old, before.day_index(day)]),
                float(after.p_workable[row, after.day_index(day)]),
            )
        )
    return tuple(found)


def changes_sentence(changes: tuple[StateChange, ...]) -> str:
    """One line for the morning: ``3 roads from dry to workable; 1 from workable to too wet``."""
    if not changes:
        return "Nothing has changed."
    counts = Counter((each.was, each.now) for each in changes)
    parts = [
        f"{n} {'road' if n == 1 else 'roads'} from {was.label} to {now.label}"
        for (was, now), n in counts.most_common()
    ]
    return "; ".join(parts) + "."


def _likely(state: MoistureState, at: int) -> npt.NDArray[np.int64]:
    classes = state.group_classes[:, :, at]
    counts = np.stack([(classes == cls).sum(axis=0) for cls in MoistureClass])
    return np.asarray(np.argmax(counts, axis=0)[state.groups.of_segment])
