"""TLS for the office's network, and the phones that are paired with machines."""

from __future__ import annotations

from typing import Annotated

import typer

from crossfall_app.cli.places import (
    DirArgument,
    JsonOption,
    WorkspaceOption,
    named_workspace,
    the_person,
    the_workspace,
)
from crossfall_app.cli.speak import new_table, remark, say, say_json, say_table

PHONES_HELP = "Phones that are paired with machines."

_STEPS = """
On every phone, once:
  1. Start the pages:  crossfall serve --lan {folder}
  2. Open the plain address that it prints; the phone saves the file authority.crt.
     Compare the fingerprint above with what the phone shows.
  3. Android: Settings, Security, Install a certificate, CA certificate, choose the file.
     iPhone: open the file, Settings, Profile downloaded, Install; then Settings, General, About,
     Certificate Trust Settings, switch it on.
     (Menus differ a little from phone to phone. Some managed phones ask their administrator.)
  4. Pair the phone:  crossfall phones pair MACHINE --name WHO
The authority can vouch for nothing but the names above. Keep the folder {tls} as you keep the
keys to the shop.""".strip("\n")


def certificate(
    folder: DirArgument = None,
    names: Annotated[
        list[str] | None,
        typer.Option(
            "--name",
            metavar="NAME",
            help="How phones reach this computer: a host name or an address; again for more.",
        ),
    ] = None,
    new_authority: Annotated[
        bool, typer.Option("--new-authority", help="Start anew; every phone must be told.")
    ] = False,
    port: Annotated[
        int, typer.Option(min=1, max=65535, help="Plain port of serve --lan, for the square code.")
    ] = 8766,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make or renew the certificate that phones need.

    A local authority is made once, for the office's names and addresses only; phones trust it once.
    The server's own certificate holds for a year and is renewed by the same command.
    """
    from crossfall_app.web.certificate import (
        make_certificate,
        names_of_this_computer,
        read_certificate,
    )
    from crossfall_app.workspace import read_workspace

    opened = read_workspace(named_workspace(folder, workspace))
    before = None if new_authority else read_certificate(opened)
    wanted = names or (before.names if before else names_of_this_computer())
    made = make_certificate(opened, wanted, now=opened.now(), is_new_authority=new_authority)
    first = made.names[0]
    address = f"http://{f'[{first}]' if ':' in first else first}:{port}/authority.crt"
    if as_json:
        say_json(
            {
                "names": list(made.names),
                "expires_at": made.expires_at.isoformat(),
                "authority": str(made.authority_file),
                "fingerprint": made.fingerprint,
                "is_new_authority": made.is_new_authority,
                "address": address,
            }
        )
        return
    say(f"For {', '.join(made.names)}; holds until {made.expires_at:%Y-%m-%d}.")
    say(f"The authority, SHA-256 {made.fingerprint}")
    if not made.is_new_authority:
        say("The authority is the one that phones trust already: nothing to do on them.")
        return
    say(_STEPS.format(folder=opened.path, tls=made.folder))
    say(f"The address of step 2, {address}, as a square code:")
    _say_square(address)


def list_phones(workspace: WorkspaceOption = None, as_json: JsonOption = False) -> None:
    """List paired phones and when they were heard."""
    the_workspace(None, workspace)
    from crossfall_app.field.approve import phones

    found = phones()
    if as_json:
        rows = [
            {
                "phone": each.key,
                "name": each.name,
                "machine": each.machine.pk,
                "paired_at": each.paired_at.isoformat(),
                "heard_at": each.seen_at.isoformat() if each.seen_at else None,
                "waiting": each.waiting,
                "is_revoked": each.revoked_at is not None,
            }
            for each in found
        ]
        say_json({"phones": rows})
        return
    if not found:
        say("No phone is paired; pair one with: crossfall phones pair MACHINE --name WHO")
        return
    table = new_table("Phone", "Whose", "Machine", "Last heard", "State")
    for each in found:
        heard = f"{each.seen_at:%Y-%m-%d %H:%M}" if each.seen_at else "never"
        state = "revoked" if each.revoked_at else "paired"
        table.add_row(each.key, each.name, each.machine.name, heard, state)
    say_table(table)


def pair_phone(
    machine: Annotated[str, typer.Argument(metavar="MACHINE", help="The machine's id.")],
    name: Annotated[str, typer.Option(metavar="WHO", help="Whose phone it is.")],
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Make a code that pairs one phone, once."""
    opened = the_workspace(None, workspace)
    from crossfall_app.field.pairing import make_code
    from crossfall_app.store import repository
    from crossfall_app.web.certificate import read_certificate

    minutes = repository.load_policy().cab.code_min
    code = make_code(
        machine, name, by=the_person(), now=opened.now(), policy=repository.load_policy().cab
    )
    tls = read_certificate(opened)
    base = opened.config.address.rstrip("/")
    if not base and tls is not None:
        first = tls.names[0]
        base = f"https://{f'[{first}]' if ':' in first else first}:8765"
    if as_json:
        say_json({"code": code, "machine": machine, "minutes": minutes, "address": base})
        return
    say(f"The code for {machine}, phone of {name}: {code}")
    say(f"It opens once, within {minutes:g} minutes, on the page /cab/ of the office.")
    if base:
        say(f"{base}/cab/ with the code, as a square code:")
        _say_square(f"{base}/cab/#pair={code}")
    else:
        remark("phones need TLS: make a certificate with: crossfall certificate")


def revoke_phone(
    phone: Annotated[str, typer.Argument(metavar="PHONE", help="As phones list shows it.")],
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a phone's key away, when it is lost or changes hands."""
    opened = the_workspace(None, workspace)
    from crossfall_app.field.pairing import revoke

    gone = revoke(phone, by=the_person(), now=opened.now())
    if as_json:
        say_json({"phone": gone.key, "name": gone.name, "is_revoked": True})
        return
    say(f"The phone of {gone.name} reads and tells nothing from now on; what it told stays.")


def _say_square(text: str) -> None:
    """A square code in letters, two rows to a line, light on dark and dark on light alike."""
    from crossfall.errors import InputError
    from crossfall.report.qr import qr_grid

    try:
        grid = qr_grid(text)
    except InputError:
        return
    n = len(grid)
    rows = [[False] * (n + 4) for _ in range(2)]
    rows += [[False, False, *row, False, False] for row in grid]
    rows += [[False] * (n + 4) for _ in range(2 + (n % 2))]
    for upper, lower in zip(rows[::2], rows[1::2], strict=False):
        say("".join(_BLOCK[up, low] for up, low in zip(upper, lower, strict=True)))


# A printed block is light: most windows are dark, and the quiet zone shows which is which
_BLOCK = {(False, False): "█", (False, True): "▀", (True, False): "▄", (True, True): " "}

COMMANDS = (
    ("certificate", certificate, False),
    ("phones list", list_phones, False),
    ("phones pair", pair_phone, False),
    ("phones revoke", revoke_phone, False),
)
