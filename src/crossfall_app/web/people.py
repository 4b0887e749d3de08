"""Accounts: invited, given a role, let in, shut out; every step leaves a line in the audit.

There is no e-mail. An invitation or a new password is a one-time link that one person hands to
another, on paper or by whatever they trust.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth import get_user_model
from django.contrib.sessions.models import Session
from django.db import transaction
from django.db.models import Max

from crossfall.errors import InputError
from crossfall_app.store import audit
from crossfall_app.web.models import Member, SignIn, SignInLink
from crossfall_app.web.roles import FIRST_USER, Role, name_of, role_of
from crossfall_app.web.signin import INVITATION_LIFE, make_link

_USERNAME = re.compile(r"[a-z0-9][a-z0-9._-]{1,29}")
_SEEN_EVERY = timedelta(minutes=5)
TABLE = "account"


@dataclass(frozen=True, slots=True)
class Account:
    """One account as the people page shows it."""

    id: int
    username: str
    name: str
    role: Role
    is_active: bool
    has_password: bool
    last_seen: datetime | None
    open_link_until: datetime | None


def accounts(now: datetime) -> tuple[Account, ...]:
    """All accounts, those that are shut out last."""
    users = get_user_model().objects.order_by("-is_active", "username").select_related("member")
    seen = dict(SignIn.objects.values_list("user").annotate(Max("seen_at")))
    links = dict(
        SignInLink.objects.filter(used_at__isnull=True, expires_at__gt=now)
        .values_list("user")
        .annotate(Max("expires_at"))
    )
    return tuple(
        Account(
            user.pk,
            user.username,
            name_of(user),
            role_of(user),
            user.is_active,
            user.has_usable_password(),
            seen.get(user.pk) or user.last_login,
            links.get(user.pk),
        )
        for user in users
    )


def invite(username: str, name: str, role: str, *, now: datetime, by: str) -> str:
    """Make an account and return the path of its invitation.

    Raises
    ------
    InputError
        If the account's name is not one, is taken, or the person or the role is not named.
    """
    username, name = username.strip().lower(), " ".join(name.split())
    if not _USERNAME.fullmatch(username):
        raise InputError(
            f"account name is {username!r}; expected 2 to 30 small letters, digits, dots or dashes"
        )
    if not name:
        raise InputError("name is empty; it stands under what this person approves")
    chosen = _role(role)
    users = get_user_model().objects
    with transaction.atomic():
        if users.filter(username__iexact=username).exists():
            raise InputError(f"account {username!r} is there already; choose another name")
        user = users.create(username=username)
        user.set_unusable_password()
        user.save()
        Member.objects.create(user=user, name=name, role=chosen.word)
        after = {"name": name, "role": chosen.word}
        audit.note("invite", TABLE, username, who=by, after=after)
        return make_link(now=now, username=username, purpose="password", life=INVITATION_LIFE)


def new_link(account_id: int, *, now: datetime, by: str) -> str:
    """A link for a new password; the old one works until the link is used."""
    with transaction.atomic():
        user = _user(account_id)
        audit.note("link", TABLE, user.username, who=by)
        return make_link(now=now, username=user.username, purpose="password", life=INVITATION_LIFE)


def change(account_id: int, *, name: str, role: str, is_active: bool, by: str) -> None:
    """Give an account another name or role, shut it out or let it in again.

    Raises
    ------
    InputError
        If nobody would be left to look after people and settings.
    """
    with transaction.atomic():
        user = _user(account_id)
        chosen = _role(role)
        before = {"name": name_of(user), "role": role_of(user).word, "is_active": user.is_active}
        after = {"name": " ".join(name.split()), "role": chosen.word, "is_active": is_active}
        if before == after:
            return
        if not (is_active and chosen is Role.SUPERINTENDENT) and not _another(user):
            raise InputError(f"{user.username} is the only superintendent; name another one first")
        Member.objects.update_or_create(
            user=user, defaults={"name": after["name"], "role": chosen.word}
        )
        user.is_active = is_active
        user.save(update_fields=["is_active"])
        if not is_active:
            end_sessions(SignIn.objects.filter(user=user))
            SignInLink.objects.filter(user=user, used_at__isnull=True).delete()
        audit.note("change", TABLE, user.username, who=by, before=before, after=after)


def keep_session(request: Any, now: datetime) -> None:
    """Note that this browser is in use; written at most every few minutes."""
    key = request.session.session_key
    told = request.session.get("seen_at", 0.0)
    if key is None or now.timestamp() - told < _SEEN_EVERY.total_seconds():
        return
    request.session["seen_at"] = now.timestamp()
    SignIn.objects.update_or_create(
        session_key=key,
        defaults={"seen_at": now, "user_id": request.user.pk},
        create_defaults={
            "user_id": request.user.pk,
            "at": now,
            "seen_at": now,
            "browser": browser_words(request.headers.get("User-Agent", "")),
            "address": request.META.get("REMOTE_ADDR", "")[:64],
        },
    )


def open_sessions(user: Any | None = None) -> list[SignIn]:
    """Browsers that are signed in, of one account or of all, the last seen first."""
    rows = SignIn.objects.select_related("user").order_by("-seen_at")
    if user is not None:
        rows = rows.filter(user=user)
    live = set(
        Session.objects.filter(session_key__in=[row.session_key for row in rows]).values_list(
            "session_key", flat=True
        )
    )
    return [row for row in rows if row.session_key in live]


def end_sessions(rows: Iterable[SignIn]) -> int:
    """Sign these browsers out; returns how many."""
    keys = [row.session_key for row in rows]
    Session.objects.filter(session_key__in=keys).delete()
    SignIn.objects.filter(session_key__in=keys).delete()
    return len(keys)


def browser_words(agent: str) -> str:
    """A browser's long name in a few words.

    Examples
    --------
    >>> browser_words("Mozilla/5.0 (X11; Linux x86_64; rv:128.0) Gecko/20100101 Firefox/128.0")
    'Firefox on Linux'
    """
    browsers = (("Edg/", "Edge"), ("Firefox/", "Firefox"), ("Chrome/", "Chrome"),
                ("Safari/", "Safari"))  # fmt: skip
    systems = (("Android", "Android"), ("iPhone", "iPhone"), ("iPad", "iPad"),
               ("Windows", "Windows"), ("Mac OS", "Mac"), ("Linux", "Linux"))  # fmt: skip
    browser = next((word for mark, word in browsers if mark in agent), "A browser")
    system = next((f" on {word}" for mark, word in systems if mark in agent), "")
    return browser + system


def _user(account_id: int) -> Any:
    user = get_user_model().objects.filter(pk=account_id).select_related("member").first()
    if user is None:
        raise InputError("that account is unknown; open the page again")
    return user


def _role(word: str) -> Role:
    words = [each.word for each in Role]
    if word not in words:
        raise InputError(f"role is {word!r}; expected one of {', '.join(words)}")
    return Role[word.upper()]


def _another(user: Any) -> bool:
    """Whether an active superintendent other than this account is there."""
    others = get_user_model().objects.filter(is_active=True).exclude(pk=user.pk)
    named = others.filter(member__role=Role.SUPERINTENDENT.word)
    first = others.filter(username=FIRST_USER, member__isnull=True)
    return bool(named.exists() or first.exists())
