"""A local authority and a certificate for the office computer, so that phones speak TLS with it.

The authority is the agency's own and can vouch for nothing but the office's names and addresses:
that limit stands in its certificate, so that even a stolen key opens no other site. Phones are
told once to trust it. The server's own certificate is renewed each year without touching a phone.
"""

from __future__ import annotations

import hashlib
import ipaddress
import os
import re
import socket
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from crossfall.errors import InputError, WorkspaceError
from crossfall_app.workspace import Workspace, keep_private, private_file

FOLDER = "tls"
AUTHORITY = "authority.crt"
_AUTHORITY_KEY = "authority.key"
_SERVER = "server.crt"
_SERVER_KEY = "server.key"
_AUTHORITY_DAYS = 3650
_SERVER_DAYS = 397
"""Phones refuse server certificates that hold much longer than a year."""
_SOON_DAYS = 30
_EARLIER = timedelta(hours=1)
_LABEL = re.compile(r"(?!-)[a-z0-9-]{1,63}(?<!-)")

Address = ipaddress.IPv4Address | ipaddress.IPv6Address


@dataclass(frozen=True, slots=True)
class Certificate:
    """What lies in the workspace's folder ``tls``."""

    folder: Path
    names: tuple[str, ...]
    """Names and addresses it is for."""
    expires_at: datetime
    fingerprint: str
    """SHA-256 of the authority's certificate, as phones show it."""
    is_new_authority: bool = False

    @property
    def authority_file(self) -> Path:
        return self.folder / AUTHORITY

    @property
    def server_file(self) -> Path:
        return self.folder / _SERVER

    @property
    def key_file(self) -> Path:
        return self.folder / _SERVER_KEY

    def days_left(self, now: datetime) -> int:
        """Whole days until it has to be renewed."""
        return (self.expires_at - now).days


def make_certificate(
    workspace: Workspace,
    names: Iterable[str],
    *,
    now: datetime,
    is_new_authority: bool = False,
) -> Certificate:
    """Make or renew the certificate; the authority is made once, and kept.

    Raises
    ------
    InputError
        If no name is given, or one is neither a host name nor an address.
    WorkspaceError
        If the authority that phones trust may not vouch for one of the names: a new one is needed,
        and every phone has to be told.
    """
    wanted = tuple(dict.fromkeys(_clean(name) for name in names))
    if not wanted:
        raise InputError("no name is given; say how phones reach this computer, such as 10.0.0.5")
    folder = workspace.path / FOLDER
    folder.mkdir(exist_ok=True)
    keep_private(folder)
    has_one = (folder / _AUTHORITY_KEY).exists() and (folder / AUTHORITY).exists()
    if has_one and not is_new_authority:
        key, authority = _load_authority(folder)
        _refuse_others(authority, wanted)
    else:
        key, authority = _make_authority(folder, wanted, workspace.config.name, now)
    _make_server(folder, key, authority, wanted, now)
    found = read_certificate(workspace)
    assert found is not None, "just written"
    return Certificate(
        found.folder,
        found.names,
        found.expires_at,
        found.fingerprint,
        is_new_authority=not has_one or is_new_authority,
    )


def read_certificate(workspace: Workspace) -> Certificate | None:
    """The certificate that was made; None when there is none.

    Raises
    ------
    WorkspaceError
        If it is there and cannot be read.
    """
    folder = workspace.path / FOLDER
    if not (folder / _SERVER).exists():
        return None
    try:
        server = x509.load_pem_x509_certificate((folder / _SERVER).read_bytes())
        authority = x509.load_pem_x509_certificate((folder / AUTHORITY).read_bytes())
        found = server.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (OSError, ValueError, x509.ExtensionNotFound) as error:
        raise WorkspaceError(
            f"the certificate in {folder} cannot be read; make it again with: crossfall certificate"
        ) from error
    names = tuple(str(each.value) for each in found)
    return Certificate(folder, names, server.not_valid_after_utc, fingerprint_of(authority))


def usable_certificate(workspace: Workspace, now: datetime) -> Certificate:
    """The certificate, if it can be served.

    Raises
    ------
    WorkspaceError
        If there is none, or it has run out.
    """
    found = read_certificate(workspace)
    if found is None:
        raise WorkspaceError(
            "there is no certificate yet, and without TLS phones keep nothing for offline and"
            " anybody on the network could read their keys; make one with: crossfall certificate"
        )
    if found.expires_at <= now:
        raise WorkspaceError(
            f"the certificate ran out on {found.expires_at:%Y-%m-%d}; renew it with:"
            " crossfall certificate (phones that trust the authority notice nothing)"
        )
    return found


def fingerprint_of(certificate: x509.Certificate) -> str:
    """SHA-256 as people compare it: ``AB:CD:...``."""
    digest = hashlib.sha256(certificate.public_bytes(serialization.Encoding.DER)).hexdigest()
    return ":".join(digest[i : i + 2].upper() for i in range(0, len(digest), 2))


def names_of_this_computer() -> tuple[str, ...]:
    """How other computers are likely to reach this one: its name, and its addresses."""
    found: list[str] = []
    host = socket.gethostname().lower()
    with suppress(InputError):
        found.append(_clean(host))
        if "." not in host:
            found.append(_clean(f"{host}.local"))
    with suppress(OSError):
        found += [str(each[4][0]) for each in socket.getaddrinfo(socket.gethostname(), None)]
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        # Nothing is sent: it only asks which way a packet would leave
        out.connect(("192.0.2.1", 9))
        found.append(str(out.getsockname()[0]))
    return tuple(dict.fromkeys(each for each in found if _is_reachable(each)))


def is_soon_over(certificate: Certificate, now: datetime) -> bool:
    """Whether it is time to renew."""
    return certificate.days_left(now) < _SOON_DAYS


def _make_authority(
    folder: Path, names: tuple[str, ...], agency: str, now: datetime
) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, agency[:64]),
            x509.NameAttribute(NameOID.COMMON_NAME, f"crossfall office {now:%Y-%m-%d}"),
        ]
    )
    addresses = [each for each in map(_address, names) if each is not None]
    hosts = [name for name in names if _address(name) is None]
    # An authority that may vouch for some addresses and no name at all says so for both kinds
    permitted: list[x509.GeneralName] = [x509.DNSName(host) for host in hosts]
    permitted += [x509.IPAddress(ipaddress.ip_network(each)) for each in addresses]
    excluded: list[x509.GeneralName] = []
    if not hosts:
        excluded.append(x509.DNSName(""))
    if not any(each.version == 4 for each in addresses):
        excluded.append(x509.IPAddress(ipaddress.ip_network("0.0.0.0/0")))
    if not any(each.version == 6 for each in addresses):
        excluded.append(x509.IPAddress(ipaddress.ip_network("::/0")))
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLIER)
        .not_valid_after(now + timedelta(days=_AUTHORITY_DAYS))
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(is_authority=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, excluded or None), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    _write_key(folder / _AUTHORITY_KEY, key)
    (folder / AUTHORITY).write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    return key, certificate


def _make_server(
    folder: Path,
    authority_key: ec.EllipticCurvePrivateKey,
    authority: x509.Certificate,
    names: tuple[str, ...],
    now: datetime,
) -> None:
    key = ec.generate_private_key(ec.SECP256R1())
    known = [_address(name) or name for name in names]
    alternatives: list[x509.GeneralName] = [
        x509.DNSName(each) if isinstance(each, str) else x509.IPAddress(each) for each in known
    ]
    until = min(now + timedelta(days=_SERVER_DAYS), authority.not_valid_after_utc)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, names[0][:64])]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _EARLIER)
        .not_valid_after(until)
        .add_extension(x509.SubjectAlternativeName(alternatives), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(is_authority=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()),
            critical=False,
        )
        .sign(authority_key, hashes.SHA256())
    )
    _write_key(folder / _SERVER_KEY, key)
    chain = [each.public_bytes(serialization.Encoding.PEM) for each in (certificate, authority)]
    (folder / _SERVER).write_bytes(b"".join(chain))


def _load_authority(folder: Path) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate]:
    try:
        key = serialization.load_pem_private_key((folder / _AUTHORITY_KEY).read_bytes(), None)
        certificate = x509.load_pem_x509_certificate((folder / AUTHORITY).read_bytes())
    except (OSError, ValueError, TypeError) as error:
        raise WorkspaceError(
            f"the authority in {folder} cannot be read; make another with --new-authority, and"
            " tell every phone"
        ) from error
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        raise WorkspaceError(f"the authority's key in {folder} is not one of crossfall's")
    return key, certificate


def _refuse_others(authority: x509.Certificate, names: tuple[str, ...]) -> None:
    limits = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    permitted = limits.permitted_subtrees or []
    hosts = {each.value for each in permitted if isinstance(each, x509.DNSName)}
    nets = [each.value for each in permitted if isinstance(each, x509.IPAddress)]
    for name in names:
        address = _address(name)
        if address is None:
            is_fine = any(name == host or name.endswith(f".{host}") for host in hosts)
        else:
            is_fine = any(address in net for net in nets if not isinstance(net, Address))
        if not is_fine:
            raise WorkspaceError(
                f"the authority that phones trust cannot vouch for {name}; make another with"
                " --new-authority, and install it on every phone"
            )


def _usage(*, is_authority: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not is_authority,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=is_authority,
        crl_sign=is_authority,
        encipher_only=False,
        decipher_only=False,
    )


def _write_key(path: Path, key: ec.EllipticCurvePrivateKey) -> None:
    with private_file(path) as stream:
        stream.write(
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        )
        stream.flush()
        os.fsync(stream.fileno())


def _clean(name: str) -> str:
    text = name.strip().lower().rstrip(".").removeprefix("[").removesuffix("]")
    address = _address(text)
    if address is not None:
        return str(address)
    labels = text.split(".")
    if not text or len(text) > 253 or not all(_LABEL.fullmatch(each) for each in labels):
        raise InputError(f"name is {name!r}; expected a host name or an address such as 10.0.0.5")
    return text


def _address(name: str) -> Address | None:
    try:
        return ipaddress.ip_address(name)
    except ValueError:
        return None


def _is_reachable(name: str) -> bool:
    address = _address(name.split("%")[0])
    if "%" in name:
        return False
    if address is None:
        return name != "localhost"
    return not (address.is_loopback or address.is_link_local or address.is_unspecified)
