"""Who may do what: four roles, and the least role that each change asks for.

Everybody who has come in may look at the roads, the plan and the ledger. A change asks for a
foreman unless it is named here; what concerns people, thresholds and money promised to others asks
for the superintendent, for looking too where it is about people.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Any

FIRST_USER = "superintendent"


class Role(IntEnum):
    """A higher role may do all that a lower one may."""

    VIEWER = 0
    OPERATOR = 1
    FOREMAN = 2
    SUPERINTENDENT = 3

    @property
    def word(self) -> str:
        """As the store keeps it."""
        return self.name.lower()


ROLE_TELLS = {
    Role.VIEWER: "looks at everything, changes nothing",
    Role.OPERATOR: "reports from the road: work, surface, dangers, photos",
    Role.FOREMAN: "plans, changes the plan, issues cards, answers requests, overrides",
    Role.SUPERINTENDENT: "all that, and people, settings, networks and contracts",
}

_EVERYBODY = {"door", "enter", "leave", "account", "session-end"}
_OPERATOR = {
    "tell",
    "inspect",
    "moisture-tell",
    "hazard-report",
    "hazard-move",
    "field-actuals",
    "field-radio",
}
_SUPERINTENDENT = {
    "contract-accept",
    "contract-let",
    "leave-sign",
    "settings-keep",
    "settings-back",
    "settings-fleet",
    "field-rates",
    "years-adopt",
    "import-accept",
}
_SUPERINTENDENT_LOOKS = {"people", "people-invite", "people-link", "people-role", "people-session"}
_FOREMAN_LOOKS = {
    "changes",
    "changes-csv",
    "event-zip",
    "road-zip",
    # Where people are and what their phones told
    "field",
    "field-phones",
    "field-actuals",
    "field-replay",
    "field-rates",
    # Where machines, and so people, worked
    "imports",
    "import-track",
    "import-track-map",
}


def least_role(address: str, *, is_change: bool) -> Role:
    """The least role that may look at, or change something through, the named address.

    Examples
    --------
    >>> least_role("plan", is_change=False).word, least_role("cards-issue", is_change=True).word
    ('viewer', 'foreman')
    >>> least_role("people", is_change=False).word
    'superintendent'
    """
    if address in _SUPERINTENDENT_LOOKS:
        return Role.SUPERINTENDENT
    if address in _FOREMAN_LOOKS:
        return Role.FOREMAN
    if not is_change or address in _EVERYBODY:
        return Role.VIEWER
    if address in _OPERATOR:
        return Role.OPERATOR
    return Role.SUPERINTENDENT if address in _SUPERINTENDENT else Role.FOREMAN


def role_of(user: Any) -> Role:
    """The role of a signed-in account; an account without one may only look.

    The account that ``crossfall serve`` opens belongs to whoever runs the computer, and is the
    superintendent's until somebody says otherwise.
    """
    member = _member(user)
    if member is not None:
        return Role[member.role.upper()]
    return Role.SUPERINTENDENT if user.get_username() == FIRST_USER else Role.VIEWER


def name_of(user: Any) -> str:
    """The person's name for what they approve; empty when the account has none."""
    member = _member(user)
    return str(member.name) if member is not None else ""


def signing_name(user: Any, typed: str) -> str:
    """Who approves: the account's own name; what was typed counts only where it has none."""
    return name_of(user) or typed.strip()


def _member(user: Any) -> Any:
    if not hasattr(user, "crossfall_member"):
        from crossfall_app.web.models import Member

        user.crossfall_member = Member.objects.filter(user_id=user.pk).first()
    return user.crossfall_member
