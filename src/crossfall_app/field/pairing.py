"""Pairing a phone with a machine: a code that opens once, a key that the phone keeps.

A phone has no password and no session: it shows its key in a header, which no other site can make
a browser send, and which does not expire in the middle of a shift without signal. Only hashes are
stored. A phone may read the cards of its own machine and nothing else, and tell facts about
machines it was paired with. Pairing it anew keeps it the same phone, if it still has its old key.
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID, uuid4

from django.db import transaction

from crossfall.errors import InputError
from crossfall.model.policy.cab import CabPolicy
from crossfall_app.field.models import Device, DeviceKey, DeviceMachine, PairingCode, PairingTry
from crossfall_app.store import audit
from crossfall_app.store.models import Machine

# Neither I, L, O nor U, which look or sound like others: 32 signs, five bits each
_SIGNS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_LOOKALIKE = str.maketrans("ILOU", "110V")
_LETTERS = 10


@dataclass(frozen=True, slots=True)
class Paired:
    """What a phone gets when its code was good."""

    device: Device
    key: str


class PairingClosedError(InputError):
    """Too many wrong codes: nobody pairs for a while."""


def make_code(
    machine_id: str, name: str, *, by: str, now: datetime, policy: CabPolicy | None = None
) -> str:
    """A new code for a machine's phone, as ``7K3QM-X92TB``; older unused ones end here.

    Raises
    ------
    InputError
        If the machine is unknown or out of the fleet, or nobody is named.
    """
    limits = policy or CabPolicy()
    machine = Machine.objects.filter(pk=machine_id, is_current=True).first()
    if machine is None:
        known = ", ".join(Machine.objects.filter(is_current=True).values_list("pk", flat=True))
        raise InputError(f"machine {machine_id!r} is not in the fleet; expected one of {known}")
    if not name.strip():
        raise InputError("name is empty; say whose phone it is, for what it tells bears the name")
    code = "".join(secrets.choice(_SIGNS) for _ in range(_LETTERS))
    with transaction.atomic():
        PairingCode.objects.filter(machine=machine, used_at__isnull=True).update(expires_at=now)
        PairingCode.objects.filter(expires_at__lt=now - timedelta(days=7)).delete()
        PairingCode.objects.create(
            sha256=_hash(code),
            machine=machine,
            name=name.strip()[:150],
            made_at=now,
            made_by=by,
            expires_at=now + timedelta(minutes=limits.code_min),
        )
        audit.note("make", "pairingcode", machine_id, who=by, after={"name": name.strip()})
    return f"{code[:5]}-{code[5:]}"


def pair(
    code: str,
    *,
    now: datetime,
    was_device: str = "",
    was_key: str = "",
    address: str = "",
    policy: CabPolicy | None = None,
) -> Paired:
    """Use a code up; a phone that shows its old key stays the same phone.

    Raises
    ------
    PairingClosedError
        If too many codes were wrong lately, from this address or from all together: a stranger who
        guesses keeps nobody else from pairing.
    InputError
        If the code is wrong, used or too old.
    """
    limits = policy or CabPolicy()
    since = now - timedelta(minutes=limits.code_min)
    lately = PairingTry.objects.filter(at__gt=since)
    is_closed = lately.filter(address=address).count() >= limits.code_tries
    if is_closed or lately.count() >= limits.code_tries_all:
        raise PairingClosedError(
            f"too many wrong codes; pairing is closed for {limits.code_min:g} minutes"
        )
    wanted = _hash(clean(code))
    with transaction.atomic():
        open_codes = PairingCode.objects.filter(
            sha256=wanted, used_at__isnull=True, expires_at__gt=now
        )
        # A conditional update: of two phones at the same moment one finds nothing left
        if open_codes.update(used_at=now) == 1:
            found = PairingCode.objects.select_related("machine").get(sha256=wanted)
            return _join(found, now, was_device, was_key)
    PairingTry.objects.filter(at__lt=now - timedelta(days=1)).delete()
    PairingTry.objects.create(at=now, address=address[:60])
    raise InputError("the code is wrong, used or too old; ask the office for a new one")


def device_of(key: str, *, now: datetime, policy: CabPolicy | None = None) -> Device | None:
    """The phone that shows this key; None when it is revoked, silent for too long, or never was."""
    limits = policy or CabPolicy()
    row = (
        DeviceKey.objects.select_related("device__machine").filter(sha256=_hash(key)).first()
        if 0 < len(key) <= 200
        else None
    )
    if row is None or row.device.revoked_at is not None:
        return None
    heard = row.device.seen_at or row.made_at
    if heard < now - timedelta(days=limits.device_days):
        return None
    device: Device = row.device
    return device


def revoke(device_key: str, *, by: str, now: datetime) -> Device:
    """Take a phone's key away; what it told stays.

    Raises
    ------
    InputError
        If the phone is unknown.
    """
    with transaction.atomic():
        device: Device | None = (
            Device.objects.select_for_update().filter(key=device_key, machine__isnull=False).first()
        )
        if device is None:
            raise InputError(f"phone {device_key!r} is unknown; see: crossfall phones")
        if device.revoked_at is None:
            device.revoked_at, device.revoked_by = now, by
            device.save(update_fields=["revoked_at", "revoked_by"])
            device.keys.all().delete()
            audit.note("revoke", "device", device.key, who=by, before={"name": device.name})
    return device


def office_device(*, now: datetime) -> Device:
    """The office itself, as it stands among the devices: radio reports and the foreman's edits."""
    office: Device | None = Device.objects.filter(machine__isnull=True).order_by("pk").first()
    if office is None:
        office = Device.objects.create(
            key=str(uuid4()), name="office", machine=None, paired_at=now, paired_by="crossfall"
        )
    return office


def clean(code: str) -> str:
    """A code as people type it: small letters, spaces, and letters that look alike.

    Examples
    --------
    >>> clean("7k3qm x92tb"), clean("IO-LU")
    ('7K3QMX92TB', '101V')
    """
    kept = "".join(each for each in code.upper() if each.isalnum())
    return kept.translate(_LOOKALIKE)


def _join(code: PairingCode, now: datetime, was_device: str, was_key: str) -> Paired:
    device = _same_phone(was_device, was_key)
    if device is None:
        device = Device.objects.create(
            key=str(uuid4()),
            name=code.name,
            machine=code.machine,
            paired_at=now,
            paired_by=code.made_by,
            seen_at=now,
        )
    else:
        device.name, device.machine, device.seen_at = code.name, code.machine, now
        device.paired_at, device.paired_by = now, code.made_by
        device.save()
        device.keys.all().delete()
    DeviceMachine.objects.get_or_create(
        device=device, machine=code.machine, defaults={"from_at": now}
    )
    key = secrets.token_urlsafe(32)
    DeviceKey.objects.create(device=device, sha256=_hash(key), made_at=now)
    told = {"name": device.name, "machine": code.machine.pk}
    audit.note("pair", "device", device.key, who=code.made_by, after=told)
    return Paired(device, key)


def _same_phone(was_device: str, was_key: str) -> Device | None:
    try:
        known = DeviceKey.objects.select_related("device").get(
            sha256=_hash(was_key), device__key=str(UUID(was_device))
        )
    except (DeviceKey.DoesNotExist, ValueError, AttributeError, TypeError):
        return None
    device: Device = known.device
    return device if device.revoked_at is None else None


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode("utf-8", "replace")).hexdigest()
