"""Who may ask: a phone that shows its key, over TLS or on this computer itself."""

from __future__ import annotations

import json
from collections.abc import Callable
from functools import wraps
from ipaddress import ip_address
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt

from crossfall.errors import InputError
from crossfall_app.field.models import Device
from crossfall_app.field.pairing import device_of
from crossfall_app.store import repository

HEADER = "X-Cab-Key"
NOT_PLAIN = (
    "The field page is not served over plain HTTP: a phone keeps nothing for offline without TLS,"
    " and everybody on the network could read the phone's key. Open it at its https address;"
    " the office makes the certificate with: crossfall certificate."
)
_LOOPBACK = {"localhost", "127.0.0.1", "[::1]"}

View = Callable[..., HttpResponse]


def is_safe(request: HttpRequest) -> bool:
    """Whether the way here is TLS, or does not leave this computer."""
    if request.is_secure():
        return True
    host = request.get_host().rpartition(":")[0] or request.get_host()
    # What a caller writes into its Host line proves nothing; where it calls from does
    is_here = is_loopback(str(request.META.get("REMOTE_ADDR", "")))
    return is_here and (host in _LOOPBACK or request.get_host() in _LOOPBACK)


def is_loopback(address: str) -> bool:
    """Whether a caller's address is this computer's own."""
    try:
        found = ip_address(address)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return bool((mapped or found).is_loopback)


def over_tls(view: View) -> View:
    """Refuse plain HTTP, and say why; nobody has to be signed in."""

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not is_safe(request):
            return HttpResponse(NOT_PLAIN, status=403, content_type="text/plain; charset=utf-8")
        return view(request, *args, **kwargs)

    made: View = login_not_required(inner)
    return made


def for_phones(view: View) -> View:
    """Let a paired phone in by the key in its header.

    No cookie counts here, so there is nothing that another site could ride on, and nothing that
    runs out while there is no signal.
    """

    @wraps(view)
    def inner(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not is_safe(request):
            return trouble(NOT_PLAIN, 403)
        policy = repository.load_policy()
        device = device_of(request.headers.get(HEADER, ""), now=timezone.now(), policy=policy.cab)
        if device is None or device.machine is None:
            return trouble(
                "This phone is not paired, or not any more; ask the office for a code."
                " What it holds is kept, and is sent after pairing.",
                401,
            )
        try:
            return view(request, device, policy, *args, **kwargs)
        except InputError as error:
            return trouble(f"{str(error)[:1].upper()}{str(error)[1:]}.", 400)

    made: View = csrf_exempt(login_not_required(inner))
    return made


def trouble(told: str, status: int) -> JsonResponse:
    """One sentence for the page in the cab."""
    return JsonResponse({"error": told}, status=status)


def read_json(request: HttpRequest) -> dict[str, Any]:
    """The object in a request.

    Raises
    ------
    InputError
        If there is none, or it is too large.
    """
    try:
        given = json.loads(request.body, parse_constant=_no_figure)
    except RequestDataTooBig:
        raise InputError("the message is too large; send fewer facts at once") from None
    except (ValueError, RecursionError):
        raise InputError("the message cannot be read; expected one JSON object") from None
    if not isinstance(given, dict):
        raise InputError("the message is no JSON object")
    return given


def machine_of(device: Device) -> str:
    """The id of the machine a phone is paired with."""
    return str(device.machine_id)


def _no_figure(word: str) -> float:
    raise ValueError(word)
