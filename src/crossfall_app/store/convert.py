"""Rows to nouns and back. No other module knows both.

A :class:`Mapping` is derived from the noun's own dataclass: a field goes to the column of its name
(or the one named in ``columns``), plain values as they are, nested ones as JSON through cattrs. A
noun that gains a field without a column fails at import, not silently at three in the morning.
"""

from __future__ import annotations

import enum
import hashlib
import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields, replace
from datetime import datetime, timedelta
from datetime import timezone as fixed
from functools import cached_property
from typing import Any, Generic, TypeVar, get_type_hints

from cattrs.preconf.json import make_converter
from django.db import models as db
from django.utils import timezone

from crossfall import model as nouns
from crossfall.errors import InputError, WorkspaceError
from crossfall_app.store import models
from crossfall_app.store.fields import PackedArrayField, PackedJSONField, canonical_json, columns_of

Noun = TypeVar("Noun")
_Pack = Callable[[Any, str], Any]
_Unpack = Callable[[Any], Any]

CONVERTER = make_converter()
"""Nested nouns to plain JSON values and back; also what ``--json`` and the pages use."""

_LINE = tuple[tuple[float, float], ...]
CONVERTER.register_structure_hook_func(
    lambda given: given == _LINE,
    lambda value, _: tuple((float(lon), float(lat)) for lon, lat in value),
)


@dataclass(frozen=True)
class Mapping(Generic[Noun]):
    """How one noun lies in one table."""

    noun: type[Noun]
    table: type[db.Model]
    columns: dict[str, str]
    """Noun fields whose column has another name."""

    def to_row(self, noun: Noun, **extra: Any) -> Any:
        """A new unsaved row; ``extra`` fills columns the noun does not know.

        Raises
        ------
        InputError
            If a value cannot be kept: NaN, half a character, a time without its zone.
        """
        values = dict(extra)
        for name, column, pack, _ in self._plan:
            value = getattr(noun, name)
            values[column] = pack(value, f"{self.noun.__name__}.{name}")
        return self.table(**values)

    def to_noun(self, values: Iterable[Any]) -> Noun:
        """A noun from the values of :attr:`names`, in that order."""
        given = {
            name: unpack(value)
            for (name, _, _, unpack), value in zip(self._plan, values, strict=True)
        }
        return self.noun(**given)

    def of(self, rows: Any) -> tuple[Noun, ...]:
        """All nouns of a query, in its order."""
        return tuple(self.to_noun(values) for values in rows.values_list(*self.names))

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The columns the noun is made of."""
        return tuple(column for _, column, _, _ in self._plan)

    @cached_property
    def _plan(self) -> tuple[tuple[str, str, _Pack, _Unpack], ...]:
        hints = get_type_hints(self.noun)
        plan = []
        for each in fields(self.noun):  # type: ignore[arg-type]
            column = self.columns.get(each.name, each.name)
            stored = _column(self.table, column)
            plan.append((each.name, column, *_packing(stored, hints[each.name])))
        return tuple(plan)


def _column(table: type[db.Model], name: str) -> db.Field:
    for each in columns_of(table):
        if name in (each.name, each.attname):
            return each
    raise WorkspaceError(f"table {table.__name__} has no column {name}; the program is incomplete")


def _packing(stored: db.Field, hint: Any) -> tuple[_Pack, _Unpack]:
    if isinstance(stored, db.JSONField | PackedJSONField):
        return (
            lambda value, where: _nested(value, hint, where),
            lambda value: CONVERTER.structure(value, hint),
        )
    if isinstance(stored, PackedArrayField):
        return (lambda value, where: value, lambda value: value)
    if isinstance(stored, db.FloatField):
        return (_number, lambda value: value)
    if isinstance(stored, db.DateTimeField):
        return (_moment, in_local_time)
    if isinstance(hint, type) and issubclass(hint, enum.Enum):
        return (lambda value, where: value.value, hint)
    return (_plain, lambda value: value)


def in_local_time(value: datetime | None) -> datetime | None:
    """A stored moment on the agency's own clock: what happens in the evening is of that day.

    The zone is kept as its offset at that moment, so that two moments of one night in autumn are
    still told apart and compared rightly.
    """
    if value is None:
        return None
    local: datetime = timezone.localtime(value)
    return local.replace(tzinfo=fixed(local.utcoffset() or timedelta(0)), fold=0)


def _nested(value: Any, hint: Any, where: str) -> Any:
    plain = CONVERTER.unstructure(value, hint)
    try:
        canonical_json(plain)
    except InputError as error:
        raise InputError(f"{where}: {error}") from error
    return plain


def _number(value: Any, where: str) -> Any:
    if value is not None and value != value:
        raise InputError(f"{where} is not a number; leave it out when it is unknown")
    return value


def _moment(value: datetime | None, where: str) -> datetime | None:
    if value is not None and value.tzinfo is None:
        raise InputError(f"{where} is {value}, a time without a zone; say which zone")
    return value


def _plain(value: Any, where: str) -> Any:
    if isinstance(value, str):
        if "\x00" in value:
            raise InputError(f"{where} holds a NUL character; retype it")
        try:
            value.encode("utf-8")
        except UnicodeEncodeError as error:
            raise InputError(f"{where} holds half a character; retype it") from error
    return value


_KEY = {"id": "key"}
_SEGMENT_ENDS = {"from_node": "from_node_id", "to_node": "to_node_id"}

NODE = Mapping(nouns.Node, models.Node, {})
SEGMENT = Mapping(nouns.Segment, models.Segment, _SEGMENT_ENDS)
FEATURE = Mapping(nouns.PointFeature, models.PointFeature, {})
BACKDROP = Mapping(nouns.Backdrop, models.Backdrop, {})
CONDITION = Mapping(nouns.Condition, models.Condition, {})
OBSERVATION = Mapping(nouns.Observation, models.Observation, _KEY)
HAZARD = Mapping(nouns.Hazard, models.Hazard, _KEY)
REQUEST = Mapping(nouns.Request, models.Request, _KEY)
CLEARANCE = Mapping(nouns.Clearance, models.Clearance, _KEY)
SIGNATURE = Mapping(nouns.DesignSignature, models.DesignSignature, _KEY)
POSTING = Mapping(nouns.LoadPosting, models.LoadPosting, _KEY)
RECORD = Mapping(
    nouns.WorkRecord,
    models.WorkRecord,
    {
        "id": "key",
        "card_id": "card_key",
        "supersedes": "supersedes_id",
        "agreement_id": "agreement_key",
    },
)
AGREEMENT = Mapping(nouns.HaulAgreement, models.HaulAgreement, _KEY)
EXEMPTION = Mapping(
    nouns.LoadExemption, models.LoadExemption, _KEY | {"agreement_id": "agreement_key"}
)
DUST = Mapping(nouns.DustApplication, models.DustApplication, _KEY)
TEST = Mapping(nouns.MaterialTest, models.MaterialTest, _KEY)
PILE = Mapping(nouns.PileEntry, models.PileEntry, _KEY | {"supersedes": "supersedes_id"})
EDGE = Mapping(nouns.FittedEdge, models.FittedEdge, _KEY)
MACHINE_DAY = Mapping(nouns.MachineDay, models.MachineDay, _KEY)
CONTRACT = Mapping(nouns.Contract, models.Contract, _KEY)
PLACE = Mapping(nouns.Place, models.Place, {})
MACHINE = Mapping(nouns.Machine, models.Machine, {})
OPERATOR = Mapping(nouns.Operator, models.Operator, {})
NEED = Mapping(nouns.Need, models.Need, _KEY)
JOB = Mapping(nouns.Job, models.Job, {"id": "key", "need_id": "need_key"})
PLAN = Mapping(nouns.Plan, models.Plan, _KEY)
RESERVATION = Mapping(nouns.Reservation, models.Reservation, _KEY)
OTHER_WORK = Mapping(nouns.OtherWork, models.OtherWork, _KEY)
ROAD_BAN = Mapping(nouns.RoadBan, models.RoadBan, _KEY)

MAPPINGS: tuple[Mapping[Any], ...] = (
    NODE,
    SEGMENT,
    FEATURE,
    BACKDROP,
    CONDITION,
    OBSERVATION,
    HAZARD,
    REQUEST,
    POSTING,
    CLEARANCE,
    SIGNATURE,
    AGREEMENT,
    EXEMPTION,
    DUST,
    TEST,
    PILE,
    EDGE,
    MACHINE_DAY,
    CONTRACT,
    RECORD,
    PLACE,
    MACHINE,
    OPERATOR,
    NEED,
    JOB,
    PLAN,
    RESERVATION,
    OTHER_WORK,
    ROAD_BAN,
)

_STATION = {"id": "station_key", "name": "station_name"}


def pit_to_row(pit: nouns.GravelPit, **extra: Any) -> models.Pit:
    """A pit's row; its place is a row of its own."""
    return models.Pit(
        place_id=pit.place.id,
        material=_plain(pit.material, "GravelPit.material"),
        price=_nested(pit.price, nouns.Rate, "GravelPit.price"),
        stock_m3=_number(pit.stock_m3, "GravelPit.stock_m3"),
        loading_m3_h=_number(pit.loading_m3_h, "GravelPit.loading_m3_h"),
        **extra,
    )


def pit_to_noun(row: models.Pit) -> nouns.GravelPit:
    """A pit with its place."""
    return nouns.GravelPit(
        place=PLACE.to_noun(getattr(row.place, name) for name in PLACE.names),
        material=row.material,
        price=CONVERTER.structure(row.price, nouns.Rate),
        stock_m3=row.stock_m3,
        loading_m3_h=row.loading_m3_h,
    )


def weather_to_row(record: nouns.WeatherRecord, **extra: Any) -> models.WeatherRecord:
    """One station's record."""
    return models.WeatherRecord(**_flat(record, models.WeatherRecord), **extra)


def weather_to_noun(row: models.WeatherRecord) -> nouns.WeatherRecord:
    """One station's record."""
    return nouns.WeatherRecord(**_raised(row, nouns.WeatherRecord))


def forecast_to_row(forecast: nouns.Forecast, **extra: Any) -> models.Forecast:
    """One forecast as issued."""
    return models.Forecast(**_flat(forecast, models.Forecast), **extra)


def forecast_to_noun(row: models.Forecast) -> nouns.Forecast:
    """One forecast as issued."""
    return nouns.Forecast(**_raised(row, nouns.Forecast))


def policy_to_row(policy: nouns.Policy, **extra: Any) -> models.PolicyVersion:
    """One version of the policy, whole."""
    body = _nested(policy, nouns.Policy, "Policy")
    return models.PolicyVersion(version=policy.version, body=body, **extra)


def policy_to_noun(row: models.PolicyVersion) -> nouns.Policy:
    """One version of the policy; settings that are newer than it take their default."""
    return CONVERTER.structure(row.body, nouns.Policy)


def card_to_row(card: nouns.JobCard, **extra: Any) -> models.JobCard:
    """A card with its frozen text and seal. Its course moves on beside the text, not in it."""
    plain = CONVERTER.unstructure(card)
    _moment(card.made_at, "JobCard.made_at")
    _moment(card.approved_at, "JobCard.approved_at")
    for name in (*_COURSE, "seal"):
        del plain[name]
    body = canonical_json(plain)
    return models.JobCard(
        key=card.id,
        number=card.number,
        version=card.version,
        **{name: _plain(getattr(card, name), f"JobCard.{name}") for name in _COURSE},
        segment_id=card.segment_id,
        day=card.day,
        machine=card.machine,
        body=body,
        sha256=seal(body),
        **extra,
    )


def card_to_noun(row: models.JobCard) -> nouns.JobCard:
    """The card as it was frozen.

    Raises
    ------
    WorkspaceError
        If its text is no longer the one that was sealed.
    """
    if seal(row.body) != row.sha256:
        raise WorkspaceError(
            f"card {row.number} was altered after it was made;"
            " restore a backup or withdraw the card"
        )
    card = CONVERTER.structure({"status": row.status, **json.loads(row.body)}, nouns.JobCard)
    course = {name: getattr(row, name) for name in _COURSE}
    if row.approved_at is not None:
        course["approved_at"] = in_local_time(row.approved_at)
    return replace(card, **course, seal=row.sha256)


_COURSE = ("status", "approved_by", "approved_at", "confirmed_by", "withdrawn_because")
"""What happens to a card after it is written; everything else on it is frozen."""


def seal(text: str) -> str:
    """SHA-256 of a text, in hex."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def network_to_json(network: nouns.Network) -> Any:
    """A whole network as plain JSON values, for imports that wait to be accepted."""
    return {
        "nodes": CONVERTER.unstructure(network.nodes, tuple[nouns.Node, ...]),
        "segments": CONVERTER.unstructure(network.segments, tuple[nouns.Segment, ...]),
        "features": CONVERTER.unstructure(network.features, tuple[nouns.PointFeature, ...]),
        "backdrop": CONVERTER.unstructure(network.backdrop, tuple[nouns.Backdrop, ...]),
    }


def network_from_json(plain: Any) -> nouns.Network:
    """The network that :func:`network_to_json` wrote."""
    return nouns.Network(
        nodes=CONVERTER.structure(plain["nodes"], tuple[nouns.Node, ...]),
        segments=CONVERTER.structure(plain["segments"], tuple[nouns.Segment, ...]),
        features=CONVERTER.structure(plain["features"], tuple[nouns.PointFeature, ...]),
        backdrop=CONVERTER.structure(plain.get("backdrop", ()), tuple[nouns.Backdrop, ...]),
    )


def renumbered(card: nouns.JobCard, *, number: int, plan_id: str) -> nouns.JobCard:
    """The same card under the agency's running number and the stored plan's key."""
    return replace(card, number=number, plan_id=plan_id)


def _flat(noun: Any, table: type[db.Model]) -> dict[str, Any]:
    values = {_STATION.get(name, name): value for name, value in _own(noun.station).items()}
    values |= {name: value for name, value in _own(noun).items() if name != "station"}
    packed = {}
    for name, value in values.items():
        pack, _ = _packing(_column(table, name), None)
        packed[name] = pack(value, f"{type(noun).__name__}.{name}")
    return packed


def _raised(row: db.Model, noun: type[Any]) -> dict[str, Any]:
    station = {
        each.name: getattr(row, _STATION.get(each.name, each.name))
        for each in fields(nouns.Station)
    }
    own = {}
    for each in fields(noun):
        if each.name != "station":
            _, unpack = _packing(_column(type(row), each.name), None)
            own[each.name] = unpack(getattr(row, each.name))
    return {"station": nouns.Station(**station), **own}


def _own(noun: Any) -> dict[str, Any]:
    return {each.name: getattr(noun, each.name) for each in fields(noun)}
