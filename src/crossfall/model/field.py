"""What a phone in the cab reports: one fact at a time, added and never changed.

A fact that was wrong stays and is undone by a later one that names it. The few things that can be
edited (when somebody is expected back, say) are facts too; only those can contradict one another.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

FactKind = Literal[
    "shift_start",
    "shift_end",
    "check_in",
    "pass_done",
    "job_done",
    "not_done",
    "hours",
    "loads",
    "stakes",
    "water",
    "windrow",
    "culvert",
    "soft_spot",
    "sign_missing",
    "rock",
    "felt",
    "edge",
    "photo",
    "note",
    "undo",
    "edit",
    "track",
]

AnswerKind = Literal["accepted", "duplicate", "rejected"]


@dataclass(frozen=True, slots=True)
class FieldFact:
    """One fact as it is kept."""

    id: str
    """A UUID that the phone made; the same fact sent again bears the same one."""
    device: str
    sequence: int
    """Counts up on the phone, from 1: the order in which things were told there."""
    kind: FactKind
    at: datetime
    """When it was told, by the office's clock: the phone's own time less how far it was off."""
    payload: Mapping[str, Any] = field(default_factory=dict)
    card_id: str | None = None
    machine_id: str = ""
    seen: int = 0
    """Number of the last fact of the office that this phone knew when it was told."""
    number: int = 0
    """The office's own running number; 0 while it has not arrived."""
    by: str = ""
    """Who told it: the name the phone was paired for, or the foreman for a radio report."""


@dataclass(frozen=True, slots=True)
class FactAnswer:
    """What the office says to one fact: every fact gets an answer of its own."""

    id: str
    answer: AnswerKind
    number: int = 0
    why: str = ""
    """One sentence when it is rejected, or when an edit contradicts another."""
    is_conflict: bool = False
