"""The door: what a stranger sees, the password, and the one-time link."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from typing import Any

from django.contrib.auth import authenticate, get_user_model, login, logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from crossfall_app.store import audit
from crossfall_app.web.pages import page
from crossfall_app.web.people import TABLE
from crossfall_app.web.roles import name_of
from crossfall_app.web.signin import open_link, use_link

_BACKEND = "django.contrib.auth.backends.ModelBackend"


@login_not_required
@sensitive_post_parameters("password")
@require_http_methods(["GET", "POST"])
def door(request: HttpRequest) -> HttpResponse:
    """How to come in: with a password where somebody has one, else with a link."""
    if request.user.is_authenticated:
        return redirect("morning")
    username = request.POST.get("username", "").strip().lower()
    if request.method == "POST" and username:
        user = authenticate(request, username=username, password=request.POST.get("password", ""))
        if user is not None:
            login(request, user, backend=_BACKEND)
            return redirect("morning")
        return _door(request, 403, username=username, is_wrong=True)
    return _door(request, 200)


@login_not_required
@never_cache
@sensitive_post_parameters("password", "again")
@require_http_methods(["GET", "POST"])
def enter(request: HttpRequest, secret: str) -> HttpResponse:
    """Show the link's one button, and use the link up when it is pressed."""
    now = timezone.now()
    link = open_link(secret, now=now)
    if link is None or not link.user.is_active:
        return _door(request, 410, was_refused=True)
    wants_password = link.purpose == "password"
    if request.method != "POST":
        return _enter(request, link.user, wants_password)
    if wants_password:
        faults = _faults(request, link.user)
        if faults:
            return _enter(request, link.user, wants_password, faults=faults, status=400)
    user = use_link(secret, now=now)
    if user is None:
        return _door(request, 410, was_refused=True)
    if wants_password:
        user.set_password(request.POST["password"])
        user.save()
        audit.note("password", TABLE, user.get_username(), who=user.get_username())
    login(request, user, backend=_BACKEND)
    return redirect("morning")


@require_POST
def leave(request: HttpRequest) -> HttpResponse:
    """Sign out."""
    logout(request)
    return redirect("door")


def shut(request: HttpRequest, credentials: dict[str, Any] | None = None) -> HttpResponse:
    """Too many wrong passwords: this account's door stays shut for a while."""
    return _door(request, 429, is_shut=True)


def _door(request: HttpRequest, status: int, **told: Any) -> HttpResponse:
    has_passwords = get_user_model().objects.filter(password__contains="$").exists()
    return page(request, "door.html", "Sign in", status=status, has_passwords=has_passwords, **told)


def _enter(
    request: HttpRequest,
    user: Any,
    wants_password: bool,
    *,
    faults: list[str] | None = None,
    status: int = 200,
) -> HttpResponse:
    return page(
        request,
        "enter.html",
        "Sign in",
        status=status,
        who=name_of(user) or user.get_username(),
        username=user.get_username(),
        wants_password=wants_password,
        faults=faults or [],
    )


def _faults(request: HttpRequest, user: Any) -> list[str]:
    password, again = request.POST.get("password", ""), request.POST.get("again", "")
    if password != again:
        return ["The two passwords are not the same."]
    try:
        validate_password(password, user)
    except ValidationError as error:
        return list(error.messages)
    return []
