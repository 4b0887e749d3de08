"""What a phone in the cab asks of the office: pairing, the day, facts, photos."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from uuid import UUID

from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from crossfall.errors import InputError
from crossfall.model import Policy
from crossfall_app.field.day import day_of
from crossfall_app.field.intake import take_in
from crossfall_app.field.models import Device
from crossfall_app.field.pairing import PairingClosedError, pair
from crossfall_app.field.pictures import progress_of, put_part
from crossfall_app.field.release import release
from crossfall_app.field.views.guard import (
    NOT_PLAIN,
    for_phones,
    is_safe,
    machine_of,
    read_json,
    trouble,
)
from crossfall_app.store import repository
from crossfall_app.web.desk import agency_today
from crossfall_app.workspace import current_workspace

_CONFLICT = 409


@csrf_exempt
@login_not_required
@require_POST
def pairing(request: HttpRequest) -> HttpResponse:
    """Use a code up and hand the phone its key."""
    if not is_safe(request):
        return trouble(NOT_PLAIN, 403)
    try:
        given = read_json(request)
        said = given.get("was")
        was: dict[str, Any] = said if isinstance(said, dict) else {}
        paired = pair(
            str(given.get("code", ""))[:60],
            now=timezone.now(),
            was_device=str(was.get("device", ""))[:60],
            was_key=str(was.get("key", ""))[:200],
            address=str(request.META.get("REMOTE_ADDR", "")),
            policy=repository.load_policy().cab,
        )
    except PairingClosedError as error:
        return trouble(f"{str(error).capitalize()}.", 429)
    except InputError as error:
        return trouble(f"{str(error).capitalize()}.", 403)
    device = paired.device
    return JsonResponse(
        {
            "device": device.key,
            "key": paired.key,
            "name": device.name,
            "machine": {"id": machine_of(device), "name": device.machine.name},
        }
    )


@for_phones
@require_GET
@gzip_page
def day(request: HttpRequest, device: Device, policy: Policy) -> HttpResponse:
    """The machine's cards and what others told of them."""
    shown = day_of(device, today=agency_today(), now=timezone.now(), policy=policy)
    return JsonResponse({**shown, "release": release()})


@for_phones
@require_POST
def facts(request: HttpRequest, device: Device, policy: Policy) -> HttpResponse:
    """Take facts in; every one gets an answer."""
    answer = take_in(
        device, read_json(request), now=timezone.now(), today=agency_today(), policy=policy.cab
    )
    return JsonResponse({**answer, "release": release()})


@for_phones
@require_http_methods(["GET", "PUT"])
def photo(request: HttpRequest, device: Device, policy: Policy, key: UUID) -> HttpResponse:
    """How much of a photo is here, or one more part of it at ``?offset=``."""
    workspace = current_workspace()
    if request.method == "GET":
        progress = progress_of(device, str(key), workspace)
    else:
        try:
            offset = int(request.GET.get("offset", ""))
        except ValueError:
            raise InputError("offset is no whole number; expected where the part begins") from None
        if len(request.headers.get("Content-Length", "")) > 9:
            raise InputError("the part is too large; send smaller ones")
        progress = put_part(
            device,
            str(key),
            offset,
            request.body,
            workspace=workspace,
            policy=policy,
            now=timezone.now(),
        )
    if progress is None:
        return trouble("No fact told of this photo yet; send the facts first.", _CONFLICT)
    return JsonResponse(asdict(progress))
