"""The store's desk: a district comes out whole, and facts go in one transaction at a time.

Pages and commands ask here and nowhere else; networks and weeks have their own modules, whose
public functions are handed on.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction

from crossfall import model as nouns
from crossfall.errors import InputError, WorkspaceError
from crossfall.model.policy.changed import differences
from crossfall.network.following import Descent
from crossfall_app.store import audit, convert, models
from crossfall_app.store.calendar_rows import (
    add_to_calendar,
    drop_from_calendar,
    load_calendar,
)
from crossfall_app.store.card_life import (
    CARD_STATUSES,
    CardLine,
    card_history,
    card_obstacles,
    card_stretch,
    held_up,
    issue_card,
    list_cards,
    load_card,
    machine_of_cards,
    move_card,
    next_version,
    withdraw_card,
)
from crossfall_app.store.crew import call_crew, crew_calls
from crossfall_app.store.fleet_rows import load_fleet, save_fleet
from crossfall_app.store.live_orders import live_cards, ordered_segments, ordered_stages
from crossfall_app.store.material_rows import (
    accept_contract,
    add_contracts,
    add_depths,
    add_dust,
    add_edges,
    add_machine_days,
    add_material_tests,
    add_pile_entries,
    add_tickets,
    end_rest,
    load_materials,
    pass_hold_point,
    store_materials,
)
from crossfall_app.store.moves import (
    answer_requests,
    book_record,
    move_hazard,
    place_request,
    take_down_posting,
)
from crossfall_app.store.network_rows import (
    NetworkChange,
    accept_stage,
    drop_stage,
    load_network,
    replace_network,
    stage_network,
)
from crossfall_app.store.successions import about_the_map, descent
from crossfall_app.store.weather_rows import overlay
from crossfall_app.store.weeks import (
    PlanLine,
    PlanMovedOnError,
    StoredWeek,
    latest_week,
    list_plans,
    load_week,
    save_week,
    week_before,
    who_planned,
)
from crossfall_app.store.years import adopted_years

__all__ = [
    "CARD_STATUSES",
    "CardLine",
    "NetworkChange",
    "PlanLine",
    "PlanMovedOnError",
    "StoredWeek",
    "accept_contract",
    "accept_stage",
    "add_agreements",
    "add_clearances",
    "add_conditions",
    "add_contracts",
    "add_depths",
    "add_dust",
    "add_edges",
    "add_exemptions",
    "add_hazards",
    "add_machine_days",
    "add_material_tests",
    "add_observations",
    "add_pile_entries",
    "add_postings",
    "add_records",
    "add_requests",
    "add_signatures",
    "add_tickets",
    "add_to_calendar",
    "agency",
    "answer_requests",
    "book_record",
    "call_crew",
    "card_history",
    "card_obstacles",
    "card_stretch",
    "crew_calls",
    "drop_from_calendar",
    "drop_stage",
    "end_rest",
    "has_network",
    "held_up",
    "issue_card",
    "latest_week",
    "list_cards",
    "list_plans",
    "live_cards",
    "load_calendar",
    "load_card",
    "load_district",
    "load_fleet",
    "load_network",
    "load_policy",
    "load_week",
    "machine_of_cards",
    "merge_weather",
    "move_card",
    "move_hazard",
    "next_version",
    "ordered_segments",
    "ordered_stages",
    "pass_hold_point",
    "place_request",
    "policy_history",
    "replace_network",
    "save_fleet",
    "save_forecast",
    "save_policy",
    "save_week",
    "stage_network",
    "store_district",
    "take_down_posting",
    "week_before",
    "who_planned",
    "withdraw_card",
]

_BATCH = 500


def load_district() -> nouns.District:
    """Everything the engine needs, as it is known now.

    Facts about a segment that was split, merged or renamed are found on its successors. Those about
    segments that vanished without one, records that were corrected and forecasts that were issued
    again stay in the store but are not in the bundle.
    """
    owner = agency()
    with transaction.atomic():
        known = descent()
        return nouns.District(
            name=owner.name,
            network=load_network(),
            policy=_by_the_clock_here(load_policy()),
            conditions=about_the_map(convert.CONDITION, known, Descent.looks),
            weather=tuple(
                convert.weather_to_noun(row) for row in models.WeatherRecord.objects.order_by("pk")
            ),
            forecasts=_latest_forecasts(),
            observations=about_the_map(convert.OBSERVATION, known, Descent.report),
            hazards=about_the_map(convert.HAZARD, known, Descent.danger),
            requests=about_the_map(convert.REQUEST, known, Descent.complaint),
            records=about_the_map(convert.RECORD, known, Descent.work),
            is_invented=owner.is_invented,
            postings=_about_routes(convert.POSTING, known),
            clearances=about_the_map(convert.CLEARANCE, known),
            signatures=about_the_map(convert.SIGNATURE, known),
            **load_materials(load_fleet()),
            haul_agreements=_about_routes(convert.AGREEMENT, known),
            load_exemptions=_about_routes(convert.EXEMPTION, known),
            calendar=load_calendar(),
            years=adopted_years(),
        )


def _by_the_clock_here(policy: nouns.Policy) -> nouns.Policy:
    """Dusk by the workspace's zone, unless the policy names its own; UTC says nothing was set."""
    if policy.dispatch.time_zone or settings.TIME_ZONE == "UTC":
        return policy
    return replace(policy, dispatch=replace(policy.dispatch, time_zone=settings.TIME_ZONE))


def store_district(
    district: nouns.District, *, by: str, invented_today: date | None = None
) -> None:
    """Put a whole district into an empty store, in one transaction."""
    with transaction.atomic():
        if has_network():
            raise WorkspaceError("the workspace holds a network already; make a new one")
        owner = agency()
        owner.name, owner.is_invented = district.name, district.is_invented
        owner.invented_today = invented_today
        owner.save()
        save_policy(district.policy, by=by, note="first")
        replace_network(district.network, by=by, source=district.name)
        save_fleet(district.fleet, by=by)
        for record in district.weather:
            merge_weather(record, by=by)
        for forecast in district.forecasts:
            save_forecast(forecast, by=by)
        add_conditions(district.conditions, by=by)
        add_records(district.records, by=by)
        add_observations(district.observations, by=by)
        add_hazards(district.hazards, by=by)
        add_requests(district.requests, by=by)
        add_postings(district.postings, by=by)
        add_clearances(district.clearances, by=by)
        add_signatures(district.signatures, by=by)
        store_materials(district, by=by)
        add_agreements(district.haul_agreements, by=by)
        add_exemptions(district.load_exemptions, by=by)
        add_to_calendar(district.calendar, by=by)


def agency() -> models.Agency:
    """The row that says whose workspace this is."""
    row: models.Agency | None = models.Agency.objects.select_related("policy").first()
    if row is None:
        raise WorkspaceError("the store has no agency; open the workspace with crossfall first")
    return row


def has_network() -> bool:
    """Whether any segment is on the map."""
    return bool(models.Segment.objects.filter(vanished_at__isnull=True).exists())


def load_policy() -> nouns.Policy:
    """The policy version in force; the program's own before the agency has one."""
    row = agency().policy
    return nouns.Policy() if row is None else convert.policy_to_noun(row)


def save_policy(policy: nouns.Policy, *, by: str, note: str = "") -> None:
    """Put a policy version in force; a version's figures never change once it is used."""
    with transaction.atomic():
        new = convert.policy_to_row(policy, created_by=by, note=note)
        row = models.PolicyVersion.objects.filter(version=policy.version).first()
        known = load_policy() if row is None else convert.policy_to_noun(row)
        if known.version == policy.version and known != policy:
            raise InputError(
                f"policy version {policy.version!r} is in the store with other figures;"
                " give the changed policy a new version"
            )
        if row is None:
            new.save()
        owner = agency()
        before = load_policy()
        owner.policy = row or new
        owner.save()
        turned = differences(before, policy)
        audit.note(
            "save",
            "policy",
            policy.version,
            who=by,
            before={each.path: _shown(each.before) for each in turned},
            after={each.path: _shown(each.after) for each in turned},
        )


def policy_history() -> tuple[tuple[nouns.Policy, str, str, datetime], ...]:
    """Every version with its note, who kept it and when, the newest first."""
    return tuple(
        (convert.policy_to_noun(row), row.note, row.created_by, row.created_at)
        for row in models.PolicyVersion.objects.order_by("-pk")
    )


def merge_weather(record: nouns.WeatherRecord, *, by: str) -> int:
    """Lay a station's days over what is stored; returns how many stored figures it changed.

    A day the new record does not know (NaN) leaves what was there; days between two records that
    neither covers are unknown.
    """
    with transaction.atomic():
        row = models.WeatherRecord.objects.filter(station_key=record.station.id).first()
        if row is None:
            convert.weather_to_row(record, created_by=by).save()
            audit.note("add", "weather", record.station.id, who=by)
            return 0
        old = convert.weather_to_noun(row)
        merged, n_changed = overlay(old, record)
        new = convert.weather_to_row(merged, created_by=row.created_by, created_at=row.created_at)
        new.pk = row.pk
        new.save()
        before = {"first_day": old.first_day.isoformat(), "last_day": old.last_day.isoformat()}
        after = {
            "first_day": merged.first_day.isoformat(),
            "last_day": merged.last_day.isoformat(),
            "figures_changed": n_changed,
        }
        audit.note("merge", "weather", record.station.id, who=by, before=before, after=after)
    return n_changed


def save_forecast(forecast: nouns.Forecast, *, by: str) -> None:
    """Keep a forecast; one issued again for the same station and day replaces the earlier."""
    with transaction.atomic():
        models.Forecast.objects.filter(
            station_key=forecast.station.id, issued_on=forecast.issued_on
        ).delete()
        convert.forecast_to_row(forecast, created_by=by).save()
        audit.note("save", "forecast", forecast.station.id, who=by)


def add_conditions(conditions: Iterable[nouns.Condition], *, by: str, source: str = "") -> int:
    """Add looks at segments; returns how many."""
    return _add(convert.CONDITION, conditions, by=by, entry_source=source)


def add_records(records: Iterable[nouns.WorkRecord], *, by: str, source: str = "") -> int:
    """Add work that was done; a record that names another in ``supersedes`` corrects it."""
    return _add(convert.RECORD, records, by=by, entry_source=source)


def add_observations(observations: Iterable[nouns.Observation], *, by: str) -> int:
    """Add how surfaces felt and what gauges caught."""
    return _add(convert.OBSERVATION, observations, by=by)


def add_hazards(hazards: Iterable[nouns.Hazard], *, by: str) -> int:
    """Add dangers as they were noticed."""
    return _add(convert.HAZARD, hazards, by=by)


def add_requests(requests: Iterable[nouns.Request], *, by: str) -> int:
    """Add complaints as they were received."""
    return _add(convert.REQUEST, requests, by=by)


def add_postings(postings: Iterable[nouns.LoadPosting], *, by: str) -> int:
    """Add load limits as they were signed."""
    return _add(convert.POSTING, postings, by=by)


def add_clearances(clearances: Iterable[nouns.Clearance], *, by: str) -> int:
    """Add permissions, tickets and location reports as they were granted."""
    return _add(convert.CLEARANCE, clearances, by=by)


def add_signatures(signatures: Iterable[nouns.DesignSignature], *, by: str) -> int:
    """Add what engineers signed, or took back."""
    return _add(convert.SIGNATURE, signatures, by=by)


def add_agreements(agreements: Iterable[nouns.HaulAgreement], *, by: str) -> int:
    """Add hauls as they were agreed."""
    return _add(convert.AGREEMENT, agreements, by=by)


def add_exemptions(exemptions: Iterable[nouns.LoadExemption], *, by: str) -> int:
    """Add leave to pass a load limit, as it was granted."""
    return _add(convert.EXEMPTION, exemptions, by=by)


def _add(mapping: convert.Mapping[Any], given: Iterable[Any], *, by: str, **extra: Any) -> int:
    rows = [mapping.to_row(noun, created_by=by, **extra) for noun in given]
    if not rows:
        return 0
    name = mapping.noun.__name__
    _refuse_unknown_segments(name, rows)
    try:
        with transaction.atomic():
            mapping.table.objects.bulk_create(rows, batch_size=_BATCH)
            audit.note("add", mapping.table.__name__.lower(), who=by, after={"rows": len(rows)})
    except IntegrityError as error:
        raise InputError(
            f"a {name} is in the store already or corrects an unknown one; nothing was added"
        ) from error
    return len(rows)


def _refuse_unknown_segments(name: str, rows: list[Any]) -> None:
    named = {each for row in rows for each in _segments_of(row)}
    if not named:
        return
    known = set(models.Segment.objects.values_list("id", flat=True))
    unknown = sorted(named - known)
    if unknown:
        raise InputError(
            f"{name}: segment {unknown[0]!r} is not on the map"
            + (f", nor are {len(unknown) - 1} more" if len(unknown) > 1 else "")
            + "; import the network first, or correct the id"
        )


def _segments_of(row: Any) -> list[str]:
    if hasattr(row, "segment_ids"):
        return list(row.segment_ids)
    return [row.segment_id] if row.segment_id is not None else []


def _about_routes(mapping: convert.Mapping[Any], known: Descent | None) -> tuple[Any, ...]:
    """Nouns of several segments, one of which at least is still on the map."""
    every = mapping.of(mapping.table.objects.order_by("pk"))
    if not every:
        return ()
    if known is not None:
        every = tuple(
            each
            if known.present.issuperset(each.segment_ids)
            else replace(each, segment_ids=known.segments(each.segment_ids))
            for each in every
        )
    present = set(
        models.Segment.objects.filter(vanished_at__isnull=True).values_list("id", flat=True)
    )
    return tuple(each for each in every if present.intersection(each.segment_ids))


def _latest_forecasts() -> tuple[nouns.Forecast, ...]:
    latest: dict[str, models.Forecast] = {}
    for row in models.Forecast.objects.order_by("issued_on", "pk"):
        latest[row.station_key] = row
    rows = sorted(latest.values(), key=lambda row: row.pk)
    return tuple(convert.forecast_to_noun(row) for row in rows)


def _shown(value: Any) -> Any:
    return value if isinstance(value, bool | int | float | str) else str(value)
