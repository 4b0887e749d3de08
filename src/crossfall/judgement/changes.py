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


@dataclass(frozen=True, eq=False)
class SurfaceDifference:
    """Two states of the same days, and what differs on the first of them."""

    before: MoistureState
    after: MoistureState
    day: date
    changes: tuple[StateChange, ...]
    """Segments whose most likely class is another one."""
    touched_ids: tuple[str, ...]
    """Segments on which any chance has moved, on any day."""

    def of(self, segment_id: str, day: date) -> StateChange:
        """One segment before and after, changed or not."""
        before, after = self.before, self.after
        return StateChange(
            segment_id,
            day,
            before.most_likely(segment_id, day),
            after.most_likely(segment_id, day),
            float(before.p_workable[before.index(segment_id), before.day_index(day)]),
            float(after.p_workable[after.index(segment_id), after.day_index(day)]),
        )

    def summary(self) -> str:
        """How far the news reached, and what it changed."""
        n = len(self.touched_ids)
        heard = f"{n} {'stretch hears' if n == 1 else 'stretches hear'} it"
        return f"{heard}. {changes_sentence(self.changes)}"


def surface_difference(before: MoistureState, after: MoistureState) -> SurfaceDifference:
    """Compare two states that begin on the same day, for the same days.

    Raises
    ------
    InputError
        If the days differ.
    """
    if (before.first_day, before.n_days) != (after.first_day, after.n_days):
        raise InputError(
            f"states from {before.first_day} for {before.n_days} days and {after.first_day} for"
            f" {after.n_days} cannot be compared; expected the same days"
        )
    is_touched = np.zeros(len(after.segment_ids), dtype=bool)
    both = [each for each in after.segment_ids if each in before.index_by_id]
    known = [after.index_by_id[each] for each in both]
    rows = [before.index_by_id[each] for each in both]
    for cls in MoistureClass:
        moved = before.p_class(cls)[rows] != after.p_class(cls)[known]
        is_touched[known] |= moved.any(axis=1)
    return SurfaceDifference(
        before,
        after,
        after.first_day,
        state_changes(before, after, day=after.first_day),
        tuple(each for each, touched in zip(after.segment_ids, is_touched, strict=True) if touched),
    )


def changes_sentence(changes: tuple[StateChange, ...]) -> str:
    """One line for the morning: ``3 roads from dry to workable; 1 from workable to too wet``."""
    if not changes:
        return "No road is called otherwise than before."
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
