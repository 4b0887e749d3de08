"""People: accounts and their roles, one's own account, and who changed what."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

import json
from datetime import date
from typing import Any

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from crossfall.errors import InputError
from crossfall_app.store import audit, models
from crossfall_app.web import people
from crossfall_app.web.models import SignIn
from crossfall_app.web.pages import csv_answer, page, sentence
from crossfall_app.web.present.changes import change_rows
from crossfall_app.web.present.measures import moment
from crossfall_app.web.roles import ROLE_TELLS, Role, name_of, role_of

_SHOWN = 100


@require_GET
def accounts(request: HttpRequest) -> HttpResponse:
    """Everybody who may come in, what they may do, and where they are signed in."""
    return _people(request)


@require_POST
@never_cache
def invite(request: HttpRequest) -> HttpResponse:
    """Make an account; its one-time link is shown once."""
    given = request.POST
    try:
        link = people.invite(
            given.get("username", ""),
            given.get("name", ""),
            given.get("role", ""),
            now=timezone.now(),
            by=request.user.get_username(),
        )
    except InputError as error:
        messages.warning(request, sentence(error))
        return _people(request, status=400, given=given)
    return _people(request, link=request.build_absolute_uri(link), link_for=given.get("name", ""))


@require_POST
@never_cache
def link(request: HttpRequest, account_id: int) -> HttpResponse:
    """A link for a new password, shown once."""
    try:
        path = people.new_link(account_id, now=timezone.now(), by=request.user.get_username())
    except InputError as error:
        raise Http404 from error
    found = next(each for each in people.accounts(timezone.now()) if each.id == account_id)
    return _people(
        request, link=request.build_absolute_uri(path), link_for=found.name or found.username
    )


@require_POST
def change(request: HttpRequest, account_id: int) -> HttpResponse:
    """Another name or role, shut out, or let in again."""
    given = request.POST
    try:
        people.change(
            account_id,
            name=given.get("name", ""),
            role=given.get("role", ""),
            is_active=given.get("is_active") == "1",
            by=request.user.get_username(),
        )
    except InputError as error:
        messages.warning(request, sentence(error))
    return redirect("people")


@require_POST
def end_any_session(request: HttpRequest, number: int) -> HttpResponse:
    """Sign somebody's browser out."""
    _end(request, SignIn.objects.filter(pk=number))
    return redirect("people")


@sensitive_post_parameters("old", "password", "again")
@require_http_methods(["GET", "POST"])
def account(request: HttpRequest) -> HttpResponse:
    """One's own name and role, password and open browsers."""
    if request.method == "POST":
        fault = _new_password(request)
        if fault:
            messages.warning(request, fault)
        else:
            messages.success(request, "The new password counts from now on.")
            return redirect("account")
    user = request.user
    return page(
        request,
        "account.html",
        "Your account",
        person=name_of(user),
        username=user.get_username(),
        role=role_of(user).word,
        role_tells=ROLE_TELLS[role_of(user)],
        has_password=user.has_usable_password(),
        sessions=_session_rows(request, people.open_sessions(user)),
    )


@require_POST
def end_own_session(request: HttpRequest, number: int) -> HttpResponse:
    """Sign one of one's own browsers out."""
    _end(request, SignIn.objects.filter(pk=number, user=request.user))
    return redirect("account")


@require_GET
def changes(request: HttpRequest) -> HttpResponse:
    """Who changed what, the newest first, in plain words; nothing can be taken out of it."""
    lines = _wanted_lines(request)
    before = request.GET.get("before", "")
    if before.isdigit():
        lines = lines.filter(pk__lt=int(before))
    shown = list(lines[: _SHOWN + 1])
    asked = {name: request.GET.get(name, "") for name in ("who", "table", "day")}
    return page(
        request,
        "changes.html",
        "Who changed what",
        rows=change_rows(shown[:_SHOWN]),
        older=shown[_SHOWN - 1].pk if len(shown) > _SHOWN else None,
        asked=asked,
        whos=_distinct("who"),
        tables=_distinct("table"),
        is_whole=audit.first_break() is None,
    )


@require_GET
def changes_file(request: HttpRequest) -> HttpResponse:
    """The same as a table to download."""
    return csv_answer(
        "changes.csv",
        ("number", "at", "who", "action", "table", "row", "before", "after", "seal"),
        (
            (
                line.pk,
                line.at.isoformat(),
                line.who,
                line.action,
                line.table,
                line.row,
                json.dumps(line.before, ensure_ascii=False) if line.before is not None else "",
                json.dumps(line.after, ensure_ascii=False) if line.after is not None else "",
                line.hash,
            )
            for line in _wanted_lines(request).iterator()
        ),
    )


def _people(request: HttpRequest, *, status: int = 200, **told: Any) -> HttpResponse:
    now = timezone.now()
    return page(
        request,
        "people.html",
        "People",
        status=status,
        accounts=[
            {
                "account": each,
                "last_seen": moment(each.last_seen) if each.last_seen else "never",
                "link_until": moment(each.open_link_until) if each.open_link_until else "",
                "is_self": each.id == request.user.pk,
            }
            for each in people.accounts(now)
        ],
        roles=[(role.word, ROLE_TELLS[role]) for role in Role],
        sessions=_session_rows(request, people.open_sessions()),
        **told,
    )


def _session_rows(request: HttpRequest, rows: list[SignIn]) -> list[dict[str, Any]]:
    return [
        {
            "number": row.pk,
            "who": row.user.get_username(),
            "browser": row.browser,
            "address": row.address,
            "since": moment(row.at),
            "seen": moment(row.seen_at),
            "is_this": row.session_key == request.session.session_key,
        }
        for row in rows
    ]


def _end(request: HttpRequest, rows: Any) -> None:
    found = list(rows.select_related("user"))
    for row in found:
        audit.note(
            "sign out", people.TABLE, row.user.get_username(), who=request.user.get_username()
        )
    people.end_sessions(found)


def _new_password(request: HttpRequest) -> str:
    """What is wrong with a new password; empty when it was taken."""
    user, given = request.user, request.POST
    if user.has_usable_password() and not user.check_password(given.get("old", "")):
        return "The old password is not right."
    if given.get("password", "") != given.get("again", ""):
        return "The two new passwords are not the same."
    try:
        validate_password(given.get("password", ""), user)
    except ValidationError as error:
        return " ".join(error.messages)
    user.set_password(given["password"])
    user.save()
    audit.note("password", people.TABLE, user.get_username(), who=user.get_username())
    update_session_auth_hash(request, user)
    return ""


def _wanted_lines(request: HttpRequest) -> Any:
    lines = models.Audit.objects.order_by("-pk")
    asked = request.GET
    if asked.get("who"):
        lines = lines.filter(who=asked["who"])
    if asked.get("table"):
        lines = lines.filter(table=asked["table"])
    if asked.get("day"):
        try:
            lines = lines.filter(at__date=date.fromisoformat(asked["day"]))
        except ValueError:
            raise Http404 from None
    return lines


def _distinct(column: str) -> list[str]:
    values = models.Audit.objects.order_by(column).values_list(column, flat=True).distinct()
    return list(values)
