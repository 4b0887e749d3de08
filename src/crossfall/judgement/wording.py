"""The sentences of a need: why it is there, and everything it rests on that nobody measured.

Many roads share a sentence; each is made once. What a rule's text quotes is put in with the
figures of the road.
"""

from __future__ import annotations

from string import Formatter

import numpy as np
import numpy.typing as npt

from crossfall.judgement.forecast import Belief
from crossfall.judgement.rulebase import CALLS, CAUSES, Call
from crossfall.judgement.rules import CODE, SAYS_IT, TREATMENTS, Judgement, sequence
from crossfall.model import Condition, Policy, Reason, Treatment

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

Sequence = tuple[tuple[Treatment, ...], tuple[Treatment, ...]]

_CAUSE_REASONS = tuple(
    Reason(
        cause.id,
        f"{cause.cause[0].upper()}{cause.cause[1:]}. {cause.advice}",
        cause.evidence,
        cause.source,
    )
    for cause in CAUSES
)
_QUOTED = tuple(
    tuple((name, spec or "") for _, name, spec, _ in Formatter().parse(call.text) if name)
    for call in CALLS
)


_STEP = {".1f": 0.1, ".0f": 1.0, ",.0f": 100.0}
"""How finely a figure is shown; numbers of vehicles in hundreds."""


REPORTED_BAD = "said to be bad; nobody has surveyed it"
"""The note of a condition that is only hearsay; its scores are the policy's, nobody gave them."""

_REPORTED_CAUSE = "reported bad; nobody has looked yet"
_REPORTED_REASON = Reason(
    "reported",
    "Reported bad; nobody has looked yet, so the cause is not known. Look at it first.",
    "common practice",
)


def is_only_reported(look: Condition | None) -> bool:
    """Whether a condition is hearsay: somebody called the road bad, and nobody scored it."""
    return look is not None and look.method == "estimated" and look.note == REPORTED_BAD


class Wording:
    """Sentences and sequences of work for the needs of one judgement."""

    def __init__(
        self,
        belief: Belief,
        facts: dict[str, Floats],
        judgement: Judgement,
        n_requests: Ints,
        policy: Policy,
    ) -> None:
        self._belief, self._policy = belief, policy
        self._figures = {
            (name, spec): _steps(facts[name], _STEP[spec])
            for names in _QUOTED
            for name, spec in names
        }
        self._primary = judgement.primary.tolist()
        self._cause = judgement.cause.tolist()
        self._called, self._call_patterns = _patterns(judgement.called)
        self._work, self._work_patterns = _patterns(judgement.work)
        self._n_requests = n_requests.tolist()
        self._has_gravel = (~np.isnan(belief.measures["gravel_mm"])).tolist()
        self._is_assumed = belief.is_blading_assumed.tolist()
        self._sequences: dict[tuple[int, int], Sequence] = {}
        self._calls: dict[tuple[int, int, int], tuple[int, ...]] = {}
        self._reasons: dict[tuple[int, tuple[int, ...], bool], Reason] = {}
        self._traffic: dict[tuple[int, str], str] = {}

    def sequence(self, row: int) -> Sequence:
        """What comes before and what after the primary treatment of a segment."""
        key = self._primary[row], self._work[row]
        if key not in self._sequences:
            work = self._work_patterns[:, key[1]]
            called = frozenset(each for each, has in zip(TREATMENTS, work, strict=True) if has)
            self._sequences[key] = sequence(TREATMENTS[key[0]], called)
        return self._sequences[key]

    def cause(self, row: int) -> str:
        """The cause in a foreman's words; none is made up for a road nobody has looked at."""
        if self._is_hearsay(row):
            return _REPORTED_CAUSE
        return CAUSES[self._cause[row]].cause

    def reasons(self, row: int) -> tuple[Reason, ...]:
        """The calls that hold, those of the primary treatment first, then the cause."""
        found = [self._reason(index, row) for index in self._said(row)]
        is_hearsay = self._is_hearsay(row)
        found.append(_REPORTED_REASON if is_hearsay else _CAUSE_REASONS[self._cause[row]])
        n = self._n_requests[row]
        if n:
            people = "A resident has" if n == 1 else f"{n} residents have"
            found.append(Reason("requests", f"{people} asked for this road.", "common practice"))
        return tuple(found)

    def assumed(self, row: int) -> tuple[str, ...]:
        """What nobody measured, a sentence each."""
        segment, seen = self._belief.segments[row], self._belief.seen[row]
        assumed = []
        if seen is None:
            assumed.append("Condition: nobody has surveyed this road; the default is used.")
        elif seen.method in ("default", "estimated"):
            assumed.append(f"Condition: {seen.note or 'estimated'} ({seen.method}).")
        if self._is_assumed[row]:
            days = self._policy.needs.assumed.days_since_blading
            assumed.append(f"Last blading: not known; {days} days ago is assumed.")
        if segment.adt_method in ("default", "estimated"):
            key = round(segment.adt), segment.adt_method
            if key not in self._traffic:
                self._traffic[key] = f"Traffic: {key[0]} vehicles a day ({key[1]})."
            assumed.append(self._traffic[key])
        if segment.gravel_method == "default" and not self._has_gravel[row]:
            assumed.append("Gravel thickness: not measured; judged by its score.")
        return tuple(assumed)

    def _is_hearsay(self, row: int) -> bool:
        return self._belief.n_works[row] == 0 and is_only_reported(self._belief.seen[row])

    def _said(self, row: int) -> tuple[int, ...]:
        key = self._primary[row], self._called[row], self._work[row]
        if key not in self._calls:
            work = self._work_patterns[:, key[2]]
            holding = [
                index
                for index, call in enumerate(CALLS)
                if self._call_patterns[index, key[1]] and not _is_said_better(call, work)
            ]
            primary = TREATMENTS[key[0]]
            holding.sort(key=lambda index: CALLS[index].treatment is not primary)
            self._calls[key] = tuple(holding)
        return self._calls[key]

    def _reason(self, index: int, row: int) -> Reason:
        steps = tuple([self._figures[quoted][row] for quoted in _QUOTED[index]])
        is_hearsay = self._is_hearsay(row)
        key = index, steps, is_hearsay
        if key not in self._reasons:
            call = CALLS[index]
            at = {
                name: step * _STEP[spec]
                for (name, spec), step in zip(_QUOTED[index], steps, strict=True)
            }
            text = call.text.format_map(at)
            if is_hearsay:
                text = text.replace(" of 5:", " of 5, assumed:")
            self._reasons[key] = Reason(call.id, text, call.evidence, call.source)
        return self._reasons[key]


def _steps(values: Floats, step: float) -> list[int]:
    """Figures in whole steps of what is shown, so that equal sentences are made once."""
    return np.rint(np.nan_to_num(values) / step).astype(np.int64).tolist()


def _is_said_better(call: Call, work: npt.NDArray[np.bool_]) -> bool:
    """Whether a dearer treatment of the same fault is called for and says it."""
    return any(work[CODE[heavier]] for heavier in SAYS_IT.get(call.treatment, ()))


def _patterns(holds: npt.NDArray[np.bool_]) -> tuple[list[int], npt.NDArray[np.bool_]]:
    """Which distinct column each column is, and the distinct columns."""
    weight = np.left_shift(np.int64(1), np.arange(holds.shape[0]))
    code = weight @ holds.astype(np.int64)
    _, first, inverse = np.unique(code, return_index=True, return_inverse=True)
    return inverse.tolist(), holds[:, first]
