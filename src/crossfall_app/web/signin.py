"""Coming in by a one-time link.

``crossfall serve`` makes a link and prints it. The link works once, for a quarter of an hour,
and only its hash is stored, so a copy of the store opens nothing. Following it asks for one
click, because programs that look ahead at links (mail and chat previews) must not use it up.
Invitations and forgotten passwords are links too: they live for some days and ask for a password.
"""

from __future__ import annotations

import hashlib
import secrets
from datetime import datetime, timedelta

from django.contrib.auth import get_user_model
from django.contrib.auth.models import AbstractBaseUser
from django.db import transaction
from django.db.models import Q, QuerySet
from django.urls import reverse

from crossfall_app.web.models import SignInLink
from crossfall_app.web.roles import FIRST_USER

LINK_LIFE = timedelta(minutes=15)
INVITATION_LIFE = timedelta(days=7)


def make_link(
    *,
    now: datetime,
    username: str = FIRST_USER,
    purpose: str = "enter",
    life: timedelta = LINK_LIFE,
) -> str:
    """Make a one-time link for ``username`` and return its path; older unused ones end here.

    The account is made when it is not there yet, without any password that could be guessed.
    """
    secret = secrets.token_urlsafe(32)
    with transaction.atomic():
        user, is_new = get_user_model().objects.get_or_create(username=username)
        if is_new:
            user.set_unusable_password()
            user.save()
        _forget(user, now)
        SignInLink.objects.create(
            secret_sha256=_hash(secret),
            user=user,
            purpose=purpose,
            made_at=now,
            expires_at=now + life,
        )
    return str(reverse("enter", args=[secret]))


def open_link(secret: str, *, now: datetime) -> SignInLink | None:
    """The link, if it would still let somebody in."""
    link: SignInLink | None = _usable(secret, now).select_related("user").first()
    return link


def is_open(secret: str, *, now: datetime) -> bool:
    """Whether the link would still let somebody in."""
    return open_link(secret, now=now) is not None


def use_link(secret: str, *, now: datetime) -> AbstractBaseUser | None:
    """The user whom the link lets in, once; None when it is used, too old, or never was."""
    with transaction.atomic():
        # A conditional update: of two clicks at the same moment one finds nothing left to use
        if _usable(secret, now).update(used_at=now) != 1:
            return None
        link = SignInLink.objects.select_related("user").get(secret_sha256=_hash(secret))
    return link.user if link.user.is_active else None


def _usable(secret: str, now: datetime) -> QuerySet:
    return SignInLink.objects.filter(
        secret_sha256=_hash(secret), used_at__isnull=True, expires_at__gt=now
    )


def _forget(user: AbstractBaseUser, now: datetime) -> None:
    SignInLink.objects.filter(user=user, used_at__isnull=True).update(expires_at=now)
    SignInLink.objects.filter(Q(expires_at__lt=now - timedelta(days=7))).delete()


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8")).hexdigest()
