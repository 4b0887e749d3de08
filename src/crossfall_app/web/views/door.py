"""The door: what a stranger sees, and the one-time link."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from crossfall_app.web.pages import page
from crossfall_app.web.signin import is_open, use_link

_BACKEND = "django.contrib.auth.backends.ModelBackend"


@login_not_required
@require_GET
def door(request: HttpRequest) -> HttpResponse:
    """How to come in."""
    if request.user.is_authenticated:
        return redirect("morning")
    return page(request, "door.html", "Sign in")


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def enter(request: HttpRequest, secret: str) -> HttpResponse:
    """Show the link's one button, and use the link up when it is pressed."""
    now = timezone.now()
    if request.method == "POST":
        user = use_link(secret, now=now)
        if user is not None:
            login(request, user, backend=_BACKEND)
            return redirect("morning")
    elif is_open(secret, now=now):
        return page(request, "enter.html", "Sign in")
    return page(request, "door.html", "Sign in", status=410, was_refused=True)


@require_POST
def leave(request: HttpRequest) -> HttpResponse:
    """Sign out."""
    logout(request)
    return redirect("door")
