"""The page in the cab itself: shell, manifest and service worker, for anybody, with nothing in it.

The page holds no facts; those come through the phone's key. Its address is ``/cab/`` and the
worker's scope ends there: office pages are never kept on a phone.
"""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

import json

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET

from crossfall_app.field.release import ICONS, release, shell_urls
from crossfall_app.field.views.guard import over_tls
from crossfall_app.web import built
from crossfall_app.web.built import built_url
from crossfall_app.web.guard import CONTENT_SECURITY

_SECURITY = f"{CONTENT_SECURITY}; manifest-src 'self'"
_PERMISSIONS = "camera=(), microphone=(), geolocation=(self), payment=(), usb=()"


@over_tls
@require_GET
def shell(request: HttpRequest) -> HttpResponse:
    """The page, the same for everybody."""
    answer = render(request, "field/cab.html", {"release": release()})
    answer.headers["Content-Security-Policy"] = _SECURITY
    answer.headers["Permissions-Policy"] = _PERMISSIONS
    return answer


@over_tls
@require_GET
def manifest(request: HttpRequest) -> HttpResponse:
    """What a phone needs to put the page among its programs."""
    drawn = {"src": built_url("cab-icon.svg"), "type": "image/svg+xml", "sizes": "any"}
    icons = [drawn] + [
        {"src": built_url(name), "type": "image/png", "sizes": f"{side}x{side}"}
        for side, name in ICONS.items()
    ]
    return JsonResponse(
        {
            "name": "crossfall in the cab",
            "short_name": "crossfall",
            "start_url": reverse("cab"),
            "scope": reverse("cab"),
            "display": "standalone",
            "orientation": "any",
            "background_color": "#ffffff",
            "theme_color": "#0f1719",
            "icons": [{**each, "purpose": use} for use in ("any", "maskable") for each in icons],
        },
        content_type="application/manifest+json",
    )


@over_tls
@require_GET
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker of this release, with the list of what it keeps."""
    shell_list = [reverse("cab"), reverse("cab-manifest"), *shell_urls()]
    head = (
        f"self.RELEASE = {json.dumps(release())};\n"
        f"self.SHELL = {json.dumps(shell_list)};\n"
        f"self.PAGE = {json.dumps(reverse('cab'))};\n"
        f"self.API = {json.dumps(reverse('cab') + 'api/')};\n"
    )
    name = built_url("cab-worker.js").rpartition("/")[2]
    body = (built.BUILT / name).read_text(encoding="utf-8")
    return HttpResponse(
        head + body,
        content_type="text/javascript; charset=utf-8",
        headers={"Cache-Control": "no-cache"},
    )
