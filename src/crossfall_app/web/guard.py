"""What every answer carries and who may ask: content security, signing in first, and roles."""

# mypy: disallow-subclassing-any=False

from __future__ import annotations

from collections.abc import Callable

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.urls import reverse
from django.utils import timezone

from crossfall_app.web.desk import a_moment_old, last_line
from crossfall_app.web.people import keep_session
from crossfall_app.web.roles import least_role, role_of

CONTENT_SECURITY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        # The map draws from a worker of its own, served beside its script
        "worker-src 'self'",
        "style-src 'self'",
        "font-src 'self'",
        "img-src 'self' data: blob:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
PERMISSIONS = "camera=(), microphone=(), geolocation=(), payment=(), usb=()"


HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY,
    "Permissions-Policy": PERMISSIONS,
    # What an agency knows stays in no cache: not a proxy's, not that of a shared computer
    "Cache-Control": "no-store",
}


class SecurityHeaders:
    """Says on every answer what a page may load: our own scripts and styles, nothing inline."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        response = self._get_response(request)
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        return response


class SignInFirst(LoginRequiredMiddleware):
    """Sends everybody who has not come in to the door, except on pages that say otherwise."""

    def get_login_url(self, view_func: Callable[..., HttpResponseBase]) -> str:
        return str(reverse("door"))


class RoleFirst:
    """Refuses what the account's role may not look at or change; see :mod:`.roles`."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        return self._get_response(request)

    def process_view(
        self,
        request: HttpRequest,
        view_func: Callable[..., HttpResponseBase],
        view_args: tuple[object, ...],
        view_kwargs: dict[str, object],
    ) -> None:
        """Ask the table of roles before the view runs."""
        if not request.user.is_authenticated:
            return
        keep_session(request, timezone.now())
        if not getattr(view_func, "login_required", True):
            # The door and its links are for everybody, whoever they are
            return
        match = request.resolver_match
        address = (match.url_name or "") if match is not None else ""
        is_change = request.method not in _SAFE
        if role_of(request.user) < least_role(address, is_change=is_change):
            raise PermissionDenied


class OwnChangesFirst:
    """Lets people look at a desk that is a moment old, but never at one without their own changes.

    A change leaves the number of its line in a cookie of this browser; it is no secret, and whoever
    alters it only waits longer or sees what others see. Switched on by the office's server.
    """

    is_on = False
    _COOKIE = "crossfall_seen"

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if not OwnChangesFirst.is_on:
            return self._get_response(request)
        told = request.COOKIES.get(self._COOKIE, "")
        seen = int(told) if told.isdigit() and len(told) < _LONGEST else 0
        with a_moment_old(seen):
            response = self._get_response(request)
        if request.method not in _SAFE:
            response.set_cookie(self._COOKIE, str(last_line()), httponly=True, samesite="Lax")
        return response


_SAFE = {"GET", "HEAD", "OPTIONS"}
_LONGEST = 16
