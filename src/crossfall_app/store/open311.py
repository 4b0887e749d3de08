"""Requests that come over Open311: kept beside the books until a person takes them in."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any
from uuid import uuid4

from django.db import transaction
from django.utils import timezone

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall.io.exports.open311 import request_coming_in
from crossfall.judgement.requests import match_requests, merge_requests
from crossfall_app.store import convert, models, repository
from crossfall_app.workspace import current_workspace

KIND = "request"


class Full(InputError):  # noqa: N818 - a door that is shut, not a mistake of the sender
    """So many requests wait that no more are taken."""


def is_on() -> bool:
    """Whether the agency answers over Open311."""
    return repository.load_policy().requests.is_open311_on


def receive(given: Mapping[str, Any]) -> str:
    """Keep a request that somebody sent; returns the key it will have.

    Raises
    ------
    Full
        If too many wait already.
    InputError
        If it cannot be used.
    """
    key = f"o311-{uuid4().hex[:12]}"
    request, code = request_coming_in(given, key=key, now=current_workspace().now())
    with transaction.atomic():
        waiting = models.ImportStage.objects.filter(kind=KIND, status="staged").count()
        if waiting >= repository.load_policy().requests.most_waiting:
            raise Full("many requests wait to be looked at; please call the office")
        plain = convert.CONVERTER.unstructure(request)
        models.ImportStage.objects.create(
            kind=KIND,
            file_name=f"Open311: {code}",
            sha256=convert.seal(json.dumps(plain, default=str, sort_keys=True)),
            report={"key": key, "text": request.text, "road": request.road},
            payload=plain,
            created_by="Open311",
        )
    return key


def accept_request(stage_id: int, *, by: str) -> nouns.Request:
    """Tie a request that waits to its road and put it into the ledger.

    Raises
    ------
    InputError
        If it is unknown or settled already.
    """
    with transaction.atomic():
        row = models.ImportStage.objects.select_for_update().filter(pk=stage_id, kind=KIND).first()
        if row is None:
            raise InputError(f"request {stage_id} is unknown; it may have been removed")
        if row.status != "staged":
            raise InputError(f"request {stage_id} was {row.status} already")
        request = convert.CONVERTER.structure(row.payload, nouns.Request)
        district = repository.load_district()
        rules = district.policy.requests
        placed = match_requests([request], district.network, rules)
        (taken,) = merge_requests(placed, district.requests, rules)
        repository.add_requests([taken], by=by)
        row.status, row.settled_at, row.payload = "accepted", timezone.now(), {}
        row.save(update_fields=["status", "settled_at", "payload"])
    return taken
