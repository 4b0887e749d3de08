"""Settings: machines and people, rates, thresholds with what they rest on; nothing is lost."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_POST

from crossfall.errors import InputError
from crossfall.model import Fleet, Machine, Operator, Policy
from crossfall.model.policy.changed import with_values
from crossfall_app.store import repository
from crossfall_app.web.desk import agency_today
from crossfall_app.web.pages import page, sentence
from crossfall_app.web.present.figures import (
    ROOM_LABEL,
    figure_lines,
    history_rows,
    next_version,
    read_values,
    rooms,
)
from crossfall_app.web.present.measures import clock, day_name
from crossfall_app.web.present.words import MACHINE_LABEL

_SHOWN_VERSIONS = 20


@require_GET
def fleet(request: HttpRequest) -> HttpResponse:
    """Machines and people, and how this office is set up."""
    own = repository.load_fleet(with_words=False)
    today = agency_today()
    names = {machine.id: machine.name for machine in own.machines}
    return page(
        request,
        "settings.html",
        "Settings",
        here="settings",
        machines=[(each, MACHINE_LABEL[each.kind]) for each in own.machines],
        people=[
            {
                "person": each,
                "machine": names.get(each.machine_id, each.machine_id),
                "starts": clock(60 * each.shift_start_h),
                "off": [(day.isoformat(), day_name(day)) for day in each.off_days if day >= today],
            }
            for each in own.operators
        ],
        places=own.places,
        kinds=list(MACHINE_LABEL.items()),
        agency={
            "Units": "US customary" if settings.CROSSFALL_UNITS == "us" else "metric",
            "Currency": settings.CROSSFALL_CURRENCY,
            "Time zone": settings.TIME_ZONE,
            "Language": settings.LANGUAGE_CODE,
            "Address on cards": settings.CROSSFALL_ADDRESS or "none",
        },
        today=today.isoformat(),
        policy_version=repository.load_policy().version,
    )


@require_POST
def keep_fleet(request: HttpRequest) -> HttpResponse:
    """One machine or person changed, added or taken off."""
    given = request.POST
    try:
        changed = _act(given)(repository.load_fleet(with_words=False), given)
        repository.save_fleet(changed, by=request.user.get_username())
    except InputError as error:
        messages.warning(request, sentence(error))
    else:
        messages.success(request, "Kept. The next plan goes by it.")
    return redirect("settings")


@require_GET
def figures(request: HttpRequest) -> HttpResponse:
    """Rates and thresholds: each with its meaning, its range and what it rests on."""
    policy, asked = repository.load_policy(), request.GET
    room, wanted = asked.get("room", "costs"), asked.get("q", "")
    known = rooms(policy)
    if room not in {key for key, _, _ in known}:
        raise Http404
    return page(
        request,
        "figures.html",
        "Figures",
        here="settings",
        rooms=known,
        room=room,
        room_label=ROOM_LABEL.get(room, room),
        wanted=wanted,
        lines=figure_lines(policy, room, wanted),
        version=policy.version,
        history=history_rows(repository.policy_history()[:_SHOWN_VERSIONS], policy.version),
    )


@require_POST
def keep_figures(request: HttpRequest) -> HttpResponse:
    """Changed figures become a new version; the old one stays."""
    policy, given = repository.load_policy(), request.POST
    back = _figures_url(given)
    try:
        _refuse_old(given, policy)
        values = read_values(policy, given)
        if not values:
            messages.warning(request, "Nothing was changed.")
            return redirect(back)
        changed = with_values(policy, values)
        _keep(changed, " ".join(given.get("note", "").split()), request)
    except InputError as error:
        messages.warning(request, sentence(error))
        return redirect(back)
    n = len(values)
    messages.success(
        request, f"{n} figure{'' if n == 1 else 's'} changed. The next plan goes by it."
    )
    return redirect(back)


@require_POST
def bring_back(request: HttpRequest) -> HttpResponse:
    """Put an earlier version in force again."""
    wanted = request.POST.get("version", "")
    for policy, _, _, _ in repository.policy_history():
        if policy.version == wanted:
            repository.save_policy(policy, by=request.user.get_username())
            messages.success(request, f"Version {wanted} is in force again.")
            return redirect(_figures_url(request.POST))
    raise Http404


def _act(given: Any) -> Callable[[Fleet, Any], Fleet]:
    act = given.get("act", "")
    if act not in _ACTS:
        raise InputError(f"act is {act!r}; expected one of {', '.join(_ACTS)}")
    return _ACTS[act]


def _refuse_old(given: Any, policy: Policy) -> None:
    if given.get("version") != policy.version:
        raise InputError(
            f"somebody kept version {policy.version} while you were typing; look at it, then"
            " change yours again"
        )


def _keep(policy: Policy, note: str, request: HttpRequest) -> None:
    known = [each[0].version for each in repository.policy_history()]
    version = next_version(known, agency_today().isoformat())
    by = request.user.get_username()
    repository.save_policy(replace(policy, version=version), by=by, note=note)


def _figures_url(given: Any) -> str:
    asked = {name: given.get(name, "") for name in ("room", "q") if given.get(name)}
    return f"{reverse('settings-figures')}?{urlencode(asked)}"


def _with_machine(own: Fleet, given: Any) -> Fleet:
    key = given.get("id", "")
    before = next((each for each in own.machines if each.id == key), None)
    if key and before is None:
        raise InputError("that machine is unknown; open the page again")
    kind = given.get("kind", before.kind if before else "")
    if kind not in MACHINE_LABEL:
        raise InputError(f"kind is {kind!r}; expected one of {', '.join(MACHINE_LABEL)}")
    home = given.get("home", before.home_id if before else "")
    if home not in {place.id for place in own.places}:
        raise InputError(f"yard is {home!r}, which is not one of the agency's places")
    usual = before or Machine(_free_id("m", {each.id for each in own.machines}), "", kind, home)
    machine = replace(
        usual,
        name=_named(given, "name"),
        kind=kind,
        home_id=home,
        is_available=given.get("is_available") == "1" if before else True,
        note=" ".join(given.get("note", "").split()),
    )
    others = own.machines if before else (*own.machines, machine)
    return replace(own, machines=tuple(machine if each.id == usual.id else each for each in others))


def _with_person(own: Fleet, given: Any) -> Fleet:
    key = given.get("id", "")
    before = next((each for each in own.operators if each.id == key), None)
    if key and before is None:
        raise InputError("that person is unknown; open the page again")
    machine = given.get("machine", "")
    if machine not in {each.id for each in own.machines}:
        raise InputError("machine is not one of the agency's; choose one of the list")
    usual = before or Operator(_free_id("p", {each.id for each in own.operators}), "", machine)
    person = replace(
        usual,
        name=_named(given, "name"),
        machine_id=machine,
        shift_h=_hours(given, "shift", usual.shift_h, most=16.0),
        shift_start_h=_hours(given, "starts", usual.shift_start_h, most=23.75),
        max_overtime_h=_hours(given, "overtime", usual.max_overtime_h, most=8.0),
        is_trainee=given.get("is_trainee") == "1",
    )
    others = own.operators if before else (*own.operators, person)
    people = tuple(person if each.id == usual.id else each for each in others)
    return replace(own, operators=people)


def _without_machine(own: Fleet, given: Any) -> Fleet:
    key = given.get("id", "")
    driven = [each.name for each in own.operators if each.machine_id == key]
    if driven:
        raise InputError(f"{driven[0]} runs that machine; give them another one first")
    return replace(own, machines=tuple(each for each in own.machines if each.id != key))


def _without_person(own: Fleet, given: Any) -> Fleet:
    key = given.get("id", "")
    return replace(own, operators=tuple(each for each in own.operators if each.id != key))


def _with_day_off(own: Fleet, given: Any) -> Fleet:
    day = _day(given)
    return _off_days(own, given, lambda days: tuple(sorted({*days, day})))


def _without_day_off(own: Fleet, given: Any) -> Fleet:
    day = _day(given)
    return _off_days(own, given, lambda days: tuple(each for each in days if each != day))


def _off_days(
    own: Fleet, given: Any, turn: Callable[[tuple[date, ...]], tuple[date, ...]]
) -> Fleet:
    key = given.get("id", "")
    return replace(
        own,
        operators=tuple(
            replace(each, off_days=turn(each.off_days)) if each.id == key else each
            for each in own.operators
        ),
    )


def _day(given: Any) -> date:
    try:
        return date.fromisoformat(given.get("day", ""))
    except ValueError:
        raise InputError("day is empty or no day; expected one such as 2026-05-04") from None


def _named(given: Any, field: str) -> str:
    name = " ".join(given.get(field, "").split())
    if not name:
        raise InputError(f"{field} is empty")
    return name[:120]


def _hours(given: Any, field: str, usual: float, *, most: float) -> float:
    typed = given.get(field, "").strip()
    if not typed:
        return usual
    try:
        if ":" in typed:
            hour, minute = typed.split(":", 1)
            value = int(hour) + int(minute) / 60
        else:
            value = float(typed)
    except ValueError:
        raise InputError(f"{field} is {typed!r}; expected hours such as 8 or 6:30") from None
    if not 0 <= value <= most:
        raise InputError(f"{field} is {typed}; expected 0 to {most:g} h")
    return value


def _free_id(letter: str, taken: set[str]) -> str:
    return next(f"{letter}{n}" for n in range(1, len(taken) + 2) if f"{letter}{n}" not in taken)


_ACTS: dict[str, Callable[[Fleet, Any], Fleet]] = {
    "machine": _with_machine,
    "person": _with_person,
    "machine-gone": _without_machine,
    "person-gone": _without_person,
    "off": _with_day_off,
    "on": _without_day_off,
}
