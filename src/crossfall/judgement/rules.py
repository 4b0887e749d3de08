"""From facts about roads to exactly one primary treatment each, and what goes with it.

All calls are evaluated over all segments at once. Of what is called for, dearer work takes in
the cheaper work it includes; the heaviest that remains is the primary treatment, and the rest
comes before it or after it in the trade's order: the way is cleared, edges and crown let water
off, ditches and culverts carry it away, then gravel, dust last. Since a worse road is only ever
called for more, the estimated work never falls when a score does. Where a road rests after dust
control, what a blade does to its surface is held back and said so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from crossfall.errors import InputError
from crossfall.judgement.calls import CALLS
from crossfall.judgement.causes import CAUSES
from crossfall.judgement.facts import FACTS
from crossfall.judgement.rulebase import Clause
from crossfall.model import Treatment
from crossfall.model.dust import BLADE_UP
from crossfall.model.policy.needs import CallPolicy, UsualWorkPolicy

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

T = Treatment
TREATMENTS = tuple(Treatment)
CODE = {treatment: code for code, treatment in enumerate(TREATMENTS)}

HEAVIEST_FIRST = (
    T.ENGINEER,
    T.REGRAVELLING,
    T.SCARIFY_REMIX,
    T.RESHAPING,
    T.SPOT_GRAVEL,
    T.SECONDARY_DITCH_REMOVAL,
    T.SHOULDER_PULLING,
    T.DITCH_CLEANING,
    T.CULVERT_CLEARING,
    T.DUST_CONTROL,
    T.BLADING,
    T.WINDROW_PICKUP,
    T.NONE,
)
"""Of several, the first is the primary treatment."""

TAKES_IN: tuple[tuple[Treatment, Treatment], ...] = (
    (T.SCARIFY_REMIX, T.RESHAPING),
    (T.REGRAVELLING, T.SPOT_GRAVEL),
    *(
        (heavier, T.BLADING)
        for heavier in (
            T.ENGINEER,
            T.REGRAVELLING,
            T.SCARIFY_REMIX,
            T.RESHAPING,
            T.SPOT_GRAVEL,
            T.SECONDARY_DITCH_REMOVAL,
            T.SHOULDER_PULLING,
        )
    ),
)
"""Dearer work, and the cheaper work it includes."""

TRADE_ORDER = (
    T.WINDROW_PICKUP,
    T.SECONDARY_DITCH_REMOVAL,
    T.SHOULDER_PULLING,
    T.SCARIFY_REMIX,
    T.RESHAPING,
    T.CULVERT_CLEARING,
    T.DITCH_CLEANING,
    T.BLADING,
    T.SPOT_GRAVEL,
    T.REGRAVELLING,
    T.DUST_CONTROL,
)
"""Crown before drainage, drainage before gravel, dust last."""

BREAKS_CRUST = frozenset(set(Treatment) - BLADE_UP - {T.NONE, T.ENGINEER})
"""Work with a blade or a bucket on the road: it breaks a crust that dust control has paid for."""

_DRAINAGE_WORK = (T.CULVERT_CLEARING, T.DITCH_CLEANING)
_CROWN_WORK = (T.RESHAPING, T.SCARIFY_REMIX)
_GRAVEL_WORK = (T.SPOT_GRAVEL, T.REGRAVELLING)
_BREAKS = sorted(CODE[treatment] for treatment in BREAKS_CRUST)


SAYS_IT = {
    T.BLADING: (T.RESHAPING, T.SCARIFY_REMIX),
    T.RESHAPING: (T.SCARIFY_REMIX,),
    T.SPOT_GRAVEL: (T.REGRAVELLING,),
}
"""Treatments whose own calls say all that those of the key would."""


@dataclass(frozen=True, eq=False)
class Judgement:
    """What the rules say of many segments; arrays of shape (segment,) or (..., segment)."""

    primary: Ints
    """Index into :data:`TREATMENTS`."""
    called: Bools
    """(call, segment): which calls hold."""
    work: Bools
    """(treatment, segment): all work called for, less what dearer work takes in."""
    cause: Ints
    """Index into :data:`~crossfall.judgement.causes.CAUSES`."""
    work_h_km: Floats
    """Usual hours of all that work for a kilometre [h/km]."""
    held_back: Ints
    """What would be the primary treatment but for a rest; an index into :data:`TREATMENTS`, that
    of none where nothing is held back."""


def judge(
    facts: dict[str, Floats],
    call: CallPolicy,
    usual: UsualWorkPolicy,
    *,
    rests: Bools | None = None,
) -> Judgement:
    """Evaluate the rule base over all segments.

    ``rests`` are the segments (segment,) that no blade may touch today.

    Raises
    ------
    InputError
        If a fact is missing or unknown.
    """
    missing = set(FACTS) ^ set(facts)
    if missing:
        raise InputError(f"facts {sorted(missing)} are missing or unknown; expected {FACTS}")
    called = np.array([_holds(rule.when, facts, call) for rule in CALLS])
    n = called.shape[1]
    work = np.zeros((len(TREATMENTS), n), dtype=bool)
    for rule, holds in zip(CALLS, called, strict=True):
        work[CODE[rule.treatment]] |= holds
    for heavier, lighter in TAKES_IN:
        work[CODE[lighter]] &= ~work[CODE[heavier]]
    held_back = np.full(n, CODE[T.NONE], dtype=np.int64)
    if rests is not None and rests.any():
        held = work & rests & np.isin(np.arange(len(TREATMENTS)), _BREAKS)[:, None]
        held_back = _heaviest(held)
        work &= ~held
    work[CODE[T.NONE]] = ~work.any(axis=0)
    primary = _heaviest(work)
    return Judgement(
        primary=primary,
        called=called,
        work=work,
        cause=_causes(primary, facts, call),
        work_h_km=usual_h_km(usual) @ work,
        held_back=held_back,
    )


def sequence(
    primary: Treatment, work: frozenset[Treatment]
) -> tuple[tuple[Treatment, ...], tuple[Treatment, ...]]:
    """What of ``work`` comes before the primary treatment, and what after, in order.

    Examples
    --------
    >>> before, after = sequence(T.REGRAVELLING, frozenset(
    ...     {T.REGRAVELLING, T.DITCH_CLEANING, T.RESHAPING, T.DUST_CONTROL}))
    >>> [each.value for each in before], [each.value for each in after]
    (['reshaping', 'ditch_cleaning'], ['dust_control'])
    """
    others = [each for each in TRADE_ORDER if each in work and each is not primary]
    if primary is T.ENGINEER:
        return (), tuple(others)
    at = TRADE_ORDER.index(primary) if primary in TRADE_ORDER else len(TRADE_ORDER)
    # Spoil of a ditch crosses the road, so it comes first where nothing but shaping follows
    spoils_crown = primary in _CROWN_WORK and not work & set(_GRAVEL_WORK)
    before = [
        each
        for each in others
        if TRADE_ORDER.index(each) < at or (spoils_crown and each in _DRAINAGE_WORK)
    ]
    return tuple(before), tuple(each for each in others if each not in before)


def usual_h_km(usual: UsualWorkPolicy) -> Floats:
    """Usual hours for a kilometre of each of :data:`TREATMENTS` [h/km]."""
    return np.array(
        [
            0.0 if treatment is T.NONE else getattr(usual, f"{treatment.value}_h_km")
            for treatment in TREATMENTS
        ]
    )


def _heaviest(work: Bools) -> Ints:
    """The first of :data:`HEAVIEST_FIRST` in each column of work (treatment, segment)."""
    found = np.full(work.shape[1], CODE[T.NONE], dtype=np.int64)
    for treatment in reversed(HEAVIEST_FIRST):
        found[work[CODE[treatment]]] = CODE[treatment]
    return found


def _causes(primary: Ints, facts: dict[str, Floats], call: CallPolicy) -> Ints:
    cause = np.full(primary.shape, -1, dtype=np.int64)
    for index, rule in enumerate(CAUSES):
        codes = [CODE[treatment] for treatment in rule.treatments]
        fits = np.isin(primary, codes) & _holds(rule.when, facts, call) & (cause < 0)
        cause[fits] = index
    return cause


def _holds(when: tuple[Clause, ...], facts: dict[str, Floats], call: CallPolicy) -> Bools:
    holds = np.ones(facts[FACTS[0]].shape, dtype=bool)
    for fact, relation, setting in when:
        limit = getattr(call, setting) if isinstance(setting, str) else setting
        holds &= facts[fact] < limit if relation == "<" else facts[fact] > limit
    return holds
