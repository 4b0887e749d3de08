"""Changing the week on the board: try, see what it costs, undo, keep; never over somebody else."""

# mypy: disallow-untyped-decorators=False

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from crossfall.errors import InputError
from crossfall.model import Job, PlanWish, Stage
from crossfall_app.runs import board as boards
from crossfall_app.runs.board import Trial
from crossfall_app.store import repository
from crossfall_app.web.desk import Desk, agency_today, this_morning
from crossfall_app.web.pages import measures, page, sentence
from crossfall_app.web.present.measures import day_name
from crossfall_app.web.present.plan import where_on
from crossfall_app.web.present.trial import place_words, wish_words
from crossfall_app.web.roles import name_of

_DRAFT = "board"
_ACTS = ("move", "pin", "off", "out", "free")


@dataclass(frozen=True)
class Draft:
    """What somebody is trying: on which plan, since when, and the steps one by one."""

    base: str
    now: datetime
    steps: tuple[tuple[PlanWish, ...], ...]
    """The wishes after each step; the last are in force, taking one away is the undo."""

    @property
    def wishes(self) -> tuple[PlanWish, ...]:
        return self.steps[-1] if self.steps else ()


def draft_of(request: HttpRequest) -> Draft | None:
    """The draft that this browser holds, if any."""
    kept = request.session.get(_DRAFT)
    if not kept:
        return None
    steps = tuple(tuple(_wish_of(each) for each in step) for step in kept["steps"])
    return Draft(kept["base"], datetime.fromisoformat(kept["now"]), steps)


def trial_of(draft: Draft, desk: Desk) -> Trial | None:
    """The week as the draft would make it; None without a step, or on another plan."""
    week = desk.week
    if week is None or week.plan.id != draft.base or not draft.steps:
        return None
    return boards.try_wishes(week, draft.wishes, desk.district, now=draft.now)


@require_GET
def stage(request: HttpRequest, stage_id: str) -> HttpResponse:
    """What may be done with one piece of work: the form behind its chip."""
    desk = this_morning()
    job, found = _stage(desk, stage_id)
    week, units = desk.week, measures()
    if week is None:
        raise Http404
    draft = draft_of(request)
    trial = trial_of(draft, desk) if draft is not None else None
    plan = trial.week.plan if trial is not None else week.plan
    here = next(
        ((each.machine_id, each.day) for each in plan.itineraries if stage_id in each.stage_ids),
        None,
    )
    segment = desk.district.network.segment_by_id[found.segment_id]
    mine = [each for each in plan.wishes if stage_id in _reach(each, job)]
    left = next((each for each in plan.unserved if each.job_id == job.id), None)
    return page(
        request,
        "stage.html",
        "Change the plan",
        here="plan",
        stage=found,
        road=segment.route,
        segment_id=segment.id,
        where=where_on(segment, units, found),
        base=week.plan.id,
        machine_id=here[0] if here else "",
        day_iso=here[1].isoformat() if here else "",
        place=place_words(here[0], here[1], desk.district.fleet) if here else "",
        machines=[(each.id, each.name) for each in desk.district.fleet.graders],
        days=_days(desk, plan.first_day, plan.n_days, found),
        wishes=wish_words(mine, [job], desk.district),
        reason=units.words(left.reason) if left is not None and not here else "",
        card=boards.issued_stages(week.plan).get(stage_id),
    )


@require_POST
def wish(request: HttpRequest) -> HttpResponse:
    """One more step: move, pin, keep off, leave out, or set free."""
    desk, given = this_morning(), request.POST
    week = desk.week
    if week is None:
        raise Http404
    if given.get("base") != week.plan.id:
        return _conflict(request, given.get("base", ""))
    draft = draft_of(request)
    if draft is None or draft.base != week.plan.id:
        now = boards.board_moment(
            week.plan, _now(), is_invented=repository.agency().invented_today is not None
        )
        draft = Draft(week.plan.id, now, ())
    before = draft.wishes if draft.steps else week.plan.wishes
    try:
        wishes = _with(before, given, desk)
        stepped = replace(draft, steps=(*draft.steps, wishes))
        trial_of(stepped, desk)
    except InputError as error:
        messages.warning(request, measures().words(sentence(error)))
        return redirect(_board_url())
    _keep_draft(request, stepped)
    return redirect(_board_url())


@require_POST
def undo(request: HttpRequest) -> HttpResponse:
    """Take the last step back."""
    draft = draft_of(request)
    if draft is not None:
        _keep_draft(request, replace(draft, steps=draft.steps[:-1]))
    return redirect(_board_url())


@require_POST
def drop(request: HttpRequest) -> HttpResponse:
    """Forget everything that was tried."""
    request.session.pop(_DRAFT, None)
    return redirect(_board_url())


@require_POST
def keep(request: HttpRequest) -> HttpResponse:
    """Keep what was tried as the plan; refused when somebody else was faster."""
    desk, draft = this_morning(), draft_of(request)
    if draft is None or not draft.steps:
        return redirect("plan")
    try:
        trial = trial_of(draft, desk)
        if trial is None:
            return _conflict(request, draft.base)
        who = name_of(request.user) or request.user.get_username()
        new = [each for each in trial.wishes if each not in trial.base.plan.wishes]
        told = "; ".join(wish_words(new, trial.base.jobs, desk.district)) or "wishes taken back"
        reason = " ".join(request.POST.get("because", "").split())
        note = f"{who} changed it by hand: {told}." + (f" Because: {reason}." if reason else "")
        boards.keep_trial(trial, by=request.user.get_username(), note=note, made_at=timezone.now())
    except repository.PlanMovedOnError:
        return _conflict(request, draft.base)
    except InputError as error:
        messages.warning(request, measures().words(sentence(error)))
        return redirect(_board_url())
    request.session.pop(_DRAFT, None)
    messages.success(request, "The changed week is the plan now. Its cards are drafted anew.")
    return redirect("plan")


@require_POST
def rebase(request: HttpRequest) -> HttpResponse:
    """Try the same wishes on the newer plan; what no longer exists there is left away."""
    desk, draft = this_morning(), draft_of(request)
    week = desk.week
    if week is None or draft is None:
        return redirect("plan")
    known = {stage.id for job in week.jobs for stage in job.stages}
    jobs = {job.id for job in week.jobs}
    base = repository.load_week(draft.base).plan.wishes
    mine = [
        each
        for each in draft.wishes
        if each not in base and each.job_id in jobs and each.stage_id in {None, *known}
    ]
    moved = Draft(week.plan.id, draft.now, ((*week.plan.wishes, *mine),))
    try:
        trial_of(moved, desk)
    except InputError as error:
        messages.warning(request, measures().words(sentence(error)))
        return redirect("plan")
    _keep_draft(request, moved)
    return redirect(_board_url())


@require_POST
def back(request: HttpRequest) -> HttpResponse:
    """Bring the plan before this one back."""
    desk, given = this_morning(), request.POST
    week = desk.week
    earlier = repository.week_before(week.plan.id) if week is not None else None
    if week is None or earlier is None:
        raise Http404
    if given.get("base") != week.plan.id:
        return _conflict(request, given.get("base", ""))
    try:
        boards.bring_back(
            earlier.plan.id,
            over=week.plan.id,
            by=request.user.get_username(),
            made_at=timezone.now(),
        )
    except repository.PlanMovedOnError:
        return _conflict(request, week.plan.id)
    except InputError as error:
        messages.warning(request, measures().words(sentence(error)))
        return redirect("plan")
    request.session.pop(_DRAFT, None)
    messages.success(request, "The plan before is back.")
    return redirect("plan")


def _with(before: tuple[PlanWish, ...], given: Any, desk: Desk) -> tuple[PlanWish, ...]:
    """The wishes after one step.

    Raises
    ------
    InputError
        If the step, the machine or the day is none.
    """
    act = given.get("act", "")
    if act not in _ACTS:
        raise InputError(f"act is {act!r}; expected one of {', '.join(_ACTS)}")
    job, found = _stage(desk, given.get("stage", ""))
    machine_id = given.get("machine") or None
    try:
        day = date.fromisoformat(given["day"]) if given.get("day") else None
    except ValueError:
        raise InputError(f"day is {given['day']!r}; expected a day such as 2026-05-04") from None
    others = tuple(each for each in before if found.id not in _reach(each, job))
    if act == "free":
        return others
    if act == "out":
        return (*others, PlanWish(job.id, "forbid", stage_id=found.id))
    if act == "off":
        kept = tuple(each for each in before if each.kind == "forbid" or each in others)
        return (*kept, PlanWish(job.id, "forbid", machine_id, day, found.id))
    return (*others, PlanWish(job.id, "pin", machine_id, day, found.id))


def _reach(wish: PlanWish, job: Job) -> set[str]:
    """Stages of a job that a wish is about."""
    if wish.job_id != job.id:
        return set()
    return {wish.stage_id} if wish.stage_id else {stage.id for stage in job.stages}


def _stage(desk: Desk, stage_id: str) -> tuple[Job, Stage]:
    for job in desk.week.jobs if desk.week is not None else ():
        for each in job.stages:
            if each.id == stage_id:
                return job, each
    raise Http404


def _days(desk: Desk, first_day: date, n_days: int, stage: Stage) -> list[dict[str, Any]]:
    """Days of the plan with what the surface would allow this work."""
    from datetime import timedelta

    gates = desk.sheet.gates
    rows = []
    for n in range(n_days):
        day = first_day + timedelta(days=n)
        told, is_open = "", True
        if gates is not None and 0 <= (day - gates.first_day).days < gates.n_days:
            verdict = gates.verdict(stage.segment_id, day, stage.task)
            is_open, told = verdict.decision != "refused", measures().words(verdict.reason)
        rows.append(
            {"iso": day.isoformat(), "name": day_name(day), "is_open": is_open, "reason": told}
        )
    return rows


def _conflict(request: HttpRequest, base: str) -> HttpResponse:
    """Somebody else kept a plan first: whose, when, and what can be done; nothing is lost."""
    newest = this_morning().week
    who = repository.who_planned(newest.plan.id) if newest is not None else None
    mine = draft_of(request)
    wishes: tuple[str, ...] = ()
    if mine is not None:
        try:
            old = repository.load_week(mine.base)
        except InputError:
            old = None
        if old is not None:
            desk = this_morning()
            new = [each for each in mine.wishes if each not in old.plan.wishes]
            wishes = wish_words(new, old.jobs, desk.district)
    return page(
        request,
        "board_conflict.html",
        "Somebody was faster",
        here="plan",
        status=409,
        base=base,
        who=who[0] if who else "Somebody",
        at=timezone.localtime(who[1]) if who else None,
        note=newest.plan.note if newest is not None else "",
        wishes=wishes,
    )


def _keep_draft(request: HttpRequest, draft: Draft) -> None:
    if not draft.steps:
        request.session.pop(_DRAFT, None)
        return
    request.session[_DRAFT] = {
        "base": draft.base,
        "now": draft.now.isoformat(),
        "steps": [[_plain(each) for each in step] for step in draft.steps],
    }


def _plain(wish: PlanWish) -> list[str | None]:
    day = wish.day.isoformat() if wish.day else None
    return [wish.job_id, wish.kind, wish.machine_id, day, wish.stage_id]


def _wish_of(kept: list[Any]) -> PlanWish:
    job_id, kind, machine_id, day, stage_id = kept
    return PlanWish(job_id, kind, machine_id, date.fromisoformat(day) if day else None, stage_id)


def _now() -> datetime:
    clock = timezone.localtime()
    return datetime.combine(agency_today(), clock.time(), clock.tzinfo)


def _board_url() -> str:
    return f"{reverse('plan')}#board-title"
