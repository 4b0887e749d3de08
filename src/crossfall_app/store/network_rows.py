"""The map in the store: compared with what is there, then accepted whole or not at all."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.utils import timezone

from crossfall import model as nouns
from crossfall.errors import InputError
from crossfall.model.policy import NetworkPolicy
from crossfall_app.store import audit, convert, models
from crossfall_app.store.fields import columns_of
from crossfall_app.store.successions import keep_successors

_TABLES = (("node", convert.NODE), ("segment", convert.SEGMENT), ("feature", convert.FEATURE))
_BATCH = 500


@dataclass(frozen=True, slots=True)
class NetworkChange:
    """How many segments an accepted import added, changed and took away."""

    n_added: int
    n_changed: int
    n_vanished: int
    n_same: int


def load_network() -> nouns.Network:
    """The map as it is today."""
    return nouns.Network(
        nodes=convert.NODE.of(_present(models.Node)),
        segments=convert.SEGMENT.of(_present(models.Segment)),
        features=convert.FEATURE.of(_present(models.PointFeature)),
        backdrop=load_backdrop(),
    )


def load_backdrop() -> tuple[nouns.Backdrop, ...]:
    """Creeks and railways of the map."""
    return convert.BACKDROP.of(models.Backdrop.objects.order_by("position"))


def replace_network(
    network: nouns.Network, *, by: str, source: str = "", is_merge: bool = False
) -> NetworkChange:
    """Make ``network`` the map, in one transaction; killed in the middle, nothing has happened.

    What is no longer on it vanishes from sight but keeps its history; where its road lies now under
    other ids is kept, so that its facts are found there. With ``is_merge`` what the
    new map does not mention stays; creeks and railways stay until a map brings its own.

    Raises
    ------
    InputError
        If the network has no segment: an empty file must not wipe a map.
    """
    if not network.segments:
        raise InputError("the network has no segment; nothing was changed")
    given = {"node": network.nodes, "segment": network.segments, "feature": network.features}
    with transaction.atomic():
        before = None if is_merge else load_network()
        counts = {}
        for name, mapping in _TABLES:
            counts[name] = _replace_rows(mapping, given[name], by=by, is_merge=is_merge)
        if network.backdrop:
            _draw_backdrop(network.backdrop, is_merge=is_merge)
        # A merge may have left features or segments on what a later merge took; the noun checks
        after = load_network()
        change = counts["segment"]
        n_followed = 0
        if before is not None and change.n_vanished:
            gone = before.segment_by_id.keys() - after.segment_by_id.keys()
            rules = network_policy()
            n_followed = keep_successors(before, after, gone, policy=rules, by=by)
        audit.note(
            "accept",
            "network",
            who=by,
            after={
                "source": source,
                "added": change.n_added,
                "changed": change.n_changed,
                "vanished": change.n_vanished,
                "followed": n_followed,
            },
        )
    return change


def network_policy() -> NetworkPolicy:
    """The distances in force; the program's own before the agency has any."""
    owner = models.Agency.objects.select_related("policy").first()
    row = None if owner is None else owner.policy
    return NetworkPolicy() if row is None else convert.policy_to_noun(row).network


def facts_on(segment_ids: Iterable[str]) -> dict[str, int]:
    """How many facts hang on some segments.

    Looks, records of work, open requests, hazards, and signed load limits that are up.
    """
    ids = list(segment_ids)
    tables: tuple[tuple[str, Any], ...] = (
        ("looks", models.Condition),
        ("records of work", models.WorkRecord),
        ("requests", models.Request),
        ("hazards", models.Hazard),
    )
    counts = {
        name: sum(
            table.objects.filter(segment_id__in=ids[start : start + _BATCH]).count()
            for start in range(0, len(ids), _BATCH)
        )
        for name, table in tables
    }
    up = models.LoadPosting.objects.filter(down_at__isnull=True).values_list(
        "segment_ids", flat=True
    )
    gone = set(ids)
    counts["signed load limits"] = sum(not gone.isdisjoint(each) for each in up)
    return {name: n for name, n in counts.items() if n}


def stage_network(
    network: nouns.Network, *, file_name: str, sha256: str, report: Any, by: str
) -> int:
    """Keep a network that was read, until somebody accepts or drops it."""
    row = models.ImportStage.objects.create(
        kind="network",
        file_name=file_name,
        sha256=sha256,
        report=report,
        payload=convert.network_to_json(network),
        created_by=by,
    )
    return int(row.pk)


def accept_stage(stage_id: int, *, by: str) -> NetworkChange:
    """Make a staged network the map."""
    with transaction.atomic():
        row = _open_stage(stage_id)
        _refuse_stale(row)
        network = convert.network_from_json(row.payload)
        is_merge = bool(row.report.get("is_merge"))
        change = replace_network(network, by=by, source=row.file_name, is_merge=is_merge)
        row.status, row.settled_at = "accepted", timezone.now()
        row.save()
    return change


def drop_stage(stage_id: int) -> None:
    """Forget what was staged; its content goes, that it was refused stays."""
    with transaction.atomic():
        row = _open_stage(stage_id)
        row.status, row.settled_at = "dropped", timezone.now()
        row.payload = {}  # type: ignore[assignment]
        row.save()


def staged_network(stage_id: int) -> tuple[models.ImportStage, nouns.Network]:
    """A staged network with its row, while it waits.

    Raises
    ------
    InputError
        If it is unknown, settled already, or something else than a network.
    """
    row: models.ImportStage | None = models.ImportStage.objects.filter(pk=stage_id).first()
    if row is None or row.kind != "network":
        raise InputError(f"import {stage_id} is unknown; it may have been removed")
    if row.status != "staged":
        raise InputError(f"import {stage_id} was {row.status} already; import the file again")
    return row, convert.network_from_json(row.payload)


def fingerprint(network: nouns.Network) -> str:
    """The same for the same network: what a staged import was compared with."""
    parts = (network.nodes, network.segments, network.features, network.backdrop)
    return convert.seal(repr(parts))


def _refuse_stale(row: models.ImportStage) -> None:
    """A difference that was read against other roads is not written over these."""
    base = row.report.get("base")
    if base is not None and base != fingerprint(load_network()):
        raise InputError(
            f"the roads changed after {row.file_name} was read; bring it in again and look at the"
            " difference as it is now"
        )


def _present(table: Any) -> Any:
    return table.objects.filter(vanished_at__isnull=True).order_by("position", "id")


def _open_stage(stage_id: int) -> models.ImportStage:
    row: models.ImportStage | None = (
        models.ImportStage.objects.select_for_update().filter(pk=stage_id).first()
    )
    if row is None:
        raise InputError(f"import {stage_id} is unknown; it may have been removed")
    if row.status != "staged":
        raise InputError(f"import {stage_id} was {row.status} already; import the file again")
    return row


def _replace_rows(
    mapping: convert.Mapping[Any], given: tuple[Any, ...], *, by: str, is_merge: bool
) -> NetworkChange:
    table: Any = mapping.table
    rows = table.objects.order_by("position", "id")
    known = {
        values[0]: (mapping.to_noun(values[3:]), values[1], values[2])
        for values in rows.values_list("id", "position", "vanished_at", *mapping.names)
    }
    n_before = 1 + max((position for _, position, _ in known.values()), default=-1)
    write, changes = [], []
    n_added = n_changed = n_same = 0
    for place, noun in enumerate(given):
        old, position, vanished_at = known.get(noun.id, (None, None, None))
        new_position = position if is_merge and old is not None else place
        if is_merge and old is None:
            new_position = n_before + place
        is_present = old is not None and vanished_at is None
        if not is_present:
            n_added += 1
        elif old == noun:
            n_same += 1
        else:
            n_changed += 1
            changes.append(_change("change", mapping, old))
        if not (is_present and old == noun and position == new_position):
            write.append(mapping.to_row(noun, position=new_position, vanished_at=None))
    if write:
        columns = [each.name for each in columns_of(table) if each.name != "id"]
        table.objects.bulk_create(
            write,
            batch_size=_BATCH,
            update_conflicts=True,
            unique_fields=["id"],
            update_fields=columns,
        )
    gone: list[str] = []
    if not is_merge:
        stay = {noun.id for noun in given}
        gone = [key for key, (_, _, at) in known.items() if at is None and key not in stay]
        for start in range(0, len(gone), _BATCH):
            part = gone[start : start + _BATCH]
            table.objects.filter(id__in=part).update(vanished_at=timezone.now())
        changes.extend(_change("vanish", mapping, known[key][0]) for key in gone)
    audit.note_all(changes, who=by)
    return NetworkChange(n_added, n_changed, len(gone), n_same)


def _draw_backdrop(given: tuple[nouns.Backdrop, ...], *, is_merge: bool) -> None:
    known = load_backdrop()
    wanted = tuple(dict.fromkeys((*known, *given) if is_merge else given))
    if wanted == known:
        return
    models.Backdrop.objects.all().delete()
    rows = [convert.BACKDROP.to_row(each, position=place) for place, each in enumerate(wanted)]
    models.Backdrop.objects.bulk_create(rows, batch_size=_BATCH)


def _change(action: str, mapping: convert.Mapping[Any], old: Any) -> audit.Change:
    plain = convert.CONVERTER.unstructure(old)
    # An audit line is JSON: a node too narrow to turn at has no finite figure
    plain = {key: None if value == float("inf") else value for key, value in plain.items()}
    return audit.Change(action, mapping.table.__name__.lower(), old.id, before=plain)
