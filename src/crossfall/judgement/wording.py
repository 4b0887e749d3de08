"""The sentences of a need: why it is there, and everything it rests on that nobody measured.

Many roads share a sentence; each is made once. What a rule's text quotes is put in with the
figures of the road.
"""

from __future__ import annotations

from datetime import date
from string import Formatter

import numpy as np
import numpy.typing as npt

from crossfall.judgement.calls import CALLS
from crossfall.judgement.causes import CAUSES
from crossfall.judgement.forecast import Belief
from crossfall.judgement.rulebase import Call
from crossfall.judgement.rules import (
    CODE,
    SAYS_IT,
    TREATMENTS,
    Judgement,
    sequence,
)
from crossfall.model import Condition, Policy, Reason, Segment, Treatment

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

Sequence = tuple[tuple[Treatment, ...], tuple[Treatment, ...]]

_TRUST = ("default", "estimated")
"""What is known in these ways rests on trust."""

CUTS = frozenset({Treatment.RESHAPING, Treatment.SCARIFY_REMIX, Treatment.REGRAVELLING})
"""Work that cuts into the surface."""
_CUT_MOIST = Reason(
    "cut_moist",
    "Cut only while the surface is moist: never frozen, and dry only with water.",
    "common practice",
)

_CAUSE_REASONS = tuple(
    Reason(cause.id, cause.sentence, cause.evidence, cause.source) for cause in CAUSES
)
_QUOTED = tuple(
    tuple((name, spec or "") for _, name, spec, _ in Formatter().parse(call.text) if name)
    for call in CALLS
)
_ALL_QUOTED = tuple(dict.fromkeys(quoted for names in _QUOTED for quoted in names))
_AT = {quoted: at for at, quoted in enumerate(_ALL_QUOTED)}


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
    """Sentences and sequences of work for some segments of one judgement.

    Each method gives one entry for each of ``rows``, in their order.
    """

    def __init__(
        self,
        belief: Belief,
        facts: dict[str, Floats],
        judgement: Judgement,
        rows: Ints,
        n_requests: Ints,
        rest_until: Ints,
        policy: Policy,
    ) -> None:
        """``rest_until`` are ordinals of the last day of a rest (segment,), 0 where none is."""
        self._belief, self._policy, self._rows = belief, policy, rows
        self._facts = facts
        self._primary, self._cause = judgement.primary[rows], judgement.cause[rows]
        self._called, self._call_patterns = _patterns(judgement.called[:, rows])
        self._work, self._work_patterns = _patterns(judgement.work[:, rows])
        self._n_requests = n_requests[rows]
        self._held_back, self._rest_until = judgement.held_back[rows], rest_until[rows]
        self._is_hearsay = np.array([self._is_only_told(row) for row in rows.tolist()], dtype=bool)

    def sequences(self) -> list[Sequence]:
        """What comes before and what after the primary treatment of each segment."""
        known: dict[tuple[int, int], Sequence] = {}
        found = []
        for key in zip(self._primary.tolist(), self._work.tolist(), strict=True):
            if key not in known:
                work = self._work_patterns[:, key[1]]
                called = frozenset(each for each, has in zip(TREATMENTS, work, strict=True) if has)
                known[key] = sequence(TREATMENTS[key[0]], called)
            found.append(known[key])
        return found

    def causes(self) -> list[str]:
        """The cause in a foreman's words; none is made up for a road nobody has looked at."""
        told = [_REPORTED_CAUSE, *(cause.headline for cause in CAUSES)]
        return [told[code] for code in np.where(self._is_hearsay, 0, self._cause + 1).tolist()]

    def reasons(self) -> list[tuple[Reason, ...]]:
        """The calls that hold, those of the primary treatment first, then the cause.

        Roads about which the same is to be said share one answer, made once.
        """
        figures = [_steps(self._facts[name][self._rows], _STEP[spec]) for name, spec in _ALL_QUOTED]
        is_quoted = np.array([[quoted in names for names in _QUOTED] for quoted in _ALL_QUOTED])
        quotes = (is_quoted.astype(int) @ self._call_patterns.astype(int)) > 0
        shown = [np.where(quotes[at][self._called], values, 0) for at, values in enumerate(figures)]
        heads = [
            self._called,
            self._work,
            self._primary,
            self._cause + 1,
            self._is_hearsay.astype(np.int64),
            self._n_requests,
            self._held_back,
            np.where(self._held_back != CODE[Treatment.NONE], self._rest_until, 0),
        ]
        made: dict[tuple[int, ...], tuple[Reason, ...]] = {}
        known: dict[tuple[int, tuple[int, ...], bool], Reason] = {}
        found = []
        for at, key in enumerate(zip(*_packed([*heads, *shown]), strict=True)):
            if key not in made:
                made[key] = self._reasons_at(at, figures, known)
            found.append(made[key])
        return found

    def assumed(self) -> list[tuple[str, ...]]:
        """What nobody measured, a sentence each."""
        belief = self._belief
        days = self._policy.needs.assumed.days_since_blading
        bladed = f"Last blading: not known; {days} days ago is assumed."
        has_gravel = (~np.isnan(belief.measures["gravel_mm"])).tolist()
        is_blading_assumed = belief.is_blading_assumed.tolist()
        shared: dict[tuple[str, bool, int, str, str], tuple[str, ...]] = {}
        found = []
        for row in self._rows.tolist():
            segment, seen = belief.segments[row], belief.seen[row]
            key = (
                _how_seen(seen),
                is_blading_assumed[row],
                round(segment.adt),
                segment.adt_method,
                _how_thick(belief.gravel_from.get(row), segment, has_gravel[row]),
            )
            if key not in shared:
                told = (
                    key[0],
                    bladed if key[1] else "",
                    f"Traffic: {key[2]} vehicles a day ({key[3]})." if key[3] in _TRUST else "",
                    key[4],
                )
                shared[key] = tuple(each for each in told if each)
            found.append(shared[key])
        return found

    def _is_only_told(self, row: int) -> bool:
        return is_only_reported(self._belief.seen[row]) and self._belief.n_works[row] == 0

    def _reasons_at(
        self,
        at: int,
        figures: list[Ints],
        known: dict[tuple[int, tuple[int, ...], bool], Reason],
    ) -> tuple[Reason, ...]:
        is_hearsay = bool(self._is_hearsay[at])
        found = []
        for index in self._said(at):
            steps = tuple(int(figures[_AT[quoted]][at]) for quoted in _QUOTED[index])
            key = index, steps, is_hearsay
            if key not in known:
                known[key] = _reason(index, steps, is_hearsay)
            found.append(known[key])
        cause = self._cause[at]
        why = _REPORTED_REASON if is_hearsay else _CAUSE_REASONS[cause]
        # Where the blade is no cure, that is the first thing to know
        found.insert(0 if CAUSES[cause].cure and not is_hearsay else len(found), why)
        primary = TREATMENTS[self._primary[at]]
        if primary in CUTS:
            found.append(_CUT_MOIST)
        n = int(self._n_requests[at])
        if n:
            people = "A resident has" if n == 1 else f"{n} residents have"
            found.append(Reason("requests", f"{people} asked for this road.", "common practice"))
        held = TREATMENTS[self._held_back[at]]
        if held is not Treatment.NONE:
            until = date.fromordinal(int(self._rest_until[at]))
            found.append(Reason("rests", rest_sentence(held, until), "common practice"))
        return tuple(found)

    def _said(self, at: int) -> list[int]:
        work, called = self._work_patterns[:, self._work[at]], self._called[at]
        holding = [
            index
            for index, call in enumerate(CALLS)
            if self._call_patterns[index, called] and not _is_said_better(call, work)
        ]
        primary = TREATMENTS[self._primary[at]]
        return sorted(holding, key=lambda index: CALLS[index].treatment is not primary)


def rest_sentence(held: Treatment, until: date) -> str:
    """Why work waits on a road that rests after dust control.

    Examples
    --------
    >>> rest_sentence(Treatment.BLADING, date(2026, 8, 1))
    'Light blading waits: dust control rests here until 2026-08-01; no blade before.'
    """
    return f"{held.label} waits: dust control rests here until {until}; no blade before."


def _reason(index: int, steps: tuple[int, ...], is_hearsay: bool) -> Reason:
    call = CALLS[index]
    at = {
        name: step * _STEP[spec] for (name, spec), step in zip(_QUOTED[index], steps, strict=True)
    }
    text = call.text.format_map(at)
    if is_hearsay:
        text = text.replace(" of 5:", " of 5, assumed:")
    return Reason(call.id, text, call.evidence, call.source)


def _how_thick(measured_on: date | None, segment: Segment, is_known: bool) -> str:
    if measured_on is not None:
        return f"Gravel thickness: computed from the one measured on {measured_on:%Y-%m-%d}."
    if segment.gravel_method == "default" and not is_known:
        return "Gravel thickness: not measured; judged by its score."
    return ""


def _how_seen(seen: Condition | None) -> str:
    if seen is None:
        return "Condition: nobody has surveyed this road; the default is used."
    if seen.method in _TRUST:
        return f"Condition: {seen.note or 'estimated'} ({seen.method})."
    return ""


def _steps(values: Floats, step: float) -> Ints:
    """Figures in whole steps of what is shown, so that equal sentences are made once."""
    return np.rint(np.nan_to_num(values) / step).astype(np.int64)


def _is_said_better(call: Call, work: npt.NDArray[np.bool_]) -> bool:
    """Whether a dearer treatment of the same fault is called for and says it."""
    return any(work[CODE[heavier]] for heavier in SAYS_IT.get(call.treatment, ()))


def _patterns(holds: npt.NDArray[np.bool_]) -> tuple[Ints, npt.NDArray[np.bool_]]:
    """Which distinct column each column is, and the distinct columns."""
    weight = np.left_shift(np.int64(1), np.arange(holds.shape[0]))
    code = weight @ holds.astype(np.int64)
    _, first, inverse = np.unique(code, return_index=True, return_inverse=True)
    return inverse.astype(np.int64), holds[:, first]


_WORD_BITS = 62


def _packed(columns: list[Ints]) -> list[list[int]]:
    """Columns of whole numbers packed into as few as hold them: equal rows stay equal, others not.

    Examples
    --------
    >>> _packed([np.array([1, 1, 0]), np.array([2, 2, -3])])
    [[13, 13, 0]]
    """
    words: list[Ints] = []
    bits_left = 0
    for column in columns:
        if not column.shape[0]:
            continue
        values = column - column.min()
        bits = max(int(values.max()).bit_length(), 1)
        if bits > bits_left:
            words.append(values)
            bits_left = _WORD_BITS - bits
        else:
            words[-1] = (words[-1] << bits) | values
            bits_left -= bits
    return [word.tolist() for word in words]
