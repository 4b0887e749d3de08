"""The rule base: what calls for which work, and what the cause is, as data.

A *call* says that a fact about a road calls for a treatment. Every clause of a call gets truer as
the road gets worse, so a worse road is never called for less. A *cause* puts in a foreman's words
why the road is as it is; the first that fits names the need. Causes only explain: they never
decide what is done.

A clause reads ``(fact, relation, setting)``: the fact is one of
:data:`crossfall.judgement.facts.FACTS`, the setting a field of
:class:`crossfall.model.policy.needs.CallPolicy` or a plain figure for flags. Texts may quote facts
in braces. ``common practice`` means that graders' handbooks and foremen agree and no page was at
hand to cite; ``recalled`` that a page exists and was not seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from crossfall.model import Evidence, Treatment

Clause = tuple[str, Literal["<", ">"], str | float]


@dataclass(frozen=True, slots=True)
class Call:
    """When all clauses hold, the road is called for the treatment."""

    id: str
    treatment: Treatment
    when: tuple[Clause, ...]
    text: str
    evidence: Evidence
    source: str = ""


@dataclass(frozen=True, slots=True)
class Cause:
    """Why a road that is called for one of ``treatments`` is as it is."""

    id: str
    treatments: tuple[Treatment, ...]
    when: tuple[Clause, ...]
    cause: str
    advice: str
    evidence: Evidence
    source: str = ""
    cure: str = ""
    """What ends the cause where the work called for only treats the symptom; said first."""

    @property
    def headline(self) -> str:
        """The cause, and the cure where the blade is none.

        Examples
        --------
        >>> Cause("c", (), (), "ruts from trucks", "", "default", cure="load limits").headline
        'ruts from trucks; the cure is load limits'
        """
        return f"{self.cause}; the cure is {self.cure}" if self.cure else self.cause

    @property
    def sentence(self) -> str:
        """The cause as it is explained, with what happens if it stays."""
        told = f"{self.cause[0].upper()}{self.cause[1:]}. {self.advice}"
        if not self.cure:
            return told
        return f"The cure is {self.cure}; other work treats the symptom, the cause stays. {told}"
