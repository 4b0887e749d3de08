"""Keeping: pages, backups, and a look at the workspace's health."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated
from uuid import UUID

import typer

from crossfall.errors import InputError, WorkspaceError
from crossfall_app.cli.places import DirArgument, JsonOption, WorkspaceOption, the_workspace
from crossfall_app.cli.speak import new_table, remark, say, say_json, say_table
from crossfall_app.workspace import Workspace

PORT = 8765
PLAIN_PORT = 8766


def serve(
    folder: DirArgument = None,
    host: Annotated[
        str | None, typer.Option(help="Address to listen on; 127.0.0.1 if unsaid.")
    ] = None,
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 takes a free one.")] = PORT,
    lan: Annotated[
        bool, typer.Option("--lan", help="For phones and other computers, over TLS.")
    ] = False,
    plain_port: Annotated[
        int, typer.Option(min=0, max=65535, help="With --lan: hands out the certificate only.")
    ] = PLAIN_PORT,
    workspace: WorkspaceOption = None,
) -> None:
    """Open the office pages.

    Prints a link that lets one person in, once; there is no password. With --lan the pages and the
    field page are served over TLS to the office's network; plain HTTP is refused there, since a
    phone keeps nothing for offline without TLS and its key could be read on the way.
    """
    if lan:
        open_to_the_network(folder, workspace, host=host, port=port, plain_port=plain_port)
        return
    open_pages(the_workspace(folder, workspace), host=host or "127.0.0.1", port=port)


def open_to_the_network(
    folder: Path | None,
    option: Path | None,
    *,
    host: str | None,
    port: int,
    plain_port: int,
) -> None:
    """Serve over TLS until Ctrl-C.

    Raises
    ------
    WorkspaceError
        If there is no certificate that could be served.
    """
    from crossfall_app.cli.places import named_workspace
    from crossfall_app.web.certificate import is_soon_over, usable_certificate
    from crossfall_app.workspace import read_workspace

    found = read_workspace(named_workspace(folder, option))
    certificate = usable_certificate(found, found.now())
    # Before Django reads its settings: which names are answered, and that cookies are for TLS only
    known = os.environ.get("CROSSFALL_HOSTS", "")
    names = [f"[{name}]" if ":" in name else name for name in certificate.names]
    os.environ["CROSSFALL_HOSTS"] = ",".join([*filter(None, [known]), *names])
    os.environ["CROSSFALL_TLS"] = "1"
    workspace = the_workspace(folder, option)
    from crossfall_app import runs
    from crossfall_app.web.server import EVERYWHERE
    from crossfall_app.web.server import serve as serve_pages

    if is_soon_over(certificate, workspace.now()):
        remark(
            f"the certificate holds until {certificate.expires_at:%Y-%m-%d};"
            " renew it with: crossfall certificate"
        )
    runs.settle_leftovers()
    try:
        serve_pages(
            workspace,
            host or EVERYWHERE,
            port,
            certificate=certificate,
            plain_port=plain_port,
            announce=_announce,
            announce_plain=_announce_plain,
        )
    except KeyboardInterrupt:
        remark("the pages are closed")


def open_pages(workspace: Workspace, *, host: str = "127.0.0.1", port: int = PORT) -> None:
    """Serve until Ctrl-C."""
    from crossfall_app import runs
    from crossfall_app.web.server import serve as serve_pages

    n_left = runs.settle_leftovers()
    if n_left:
        remark(f"{n_left} planning run(s) were interrupted; start them again")
    try:
        serve_pages(workspace, host, port, announce=_announce)
    except KeyboardInterrupt:
        remark("the pages are closed")


def backup(
    folder: DirArgument = None,
    to: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Where to; else in the folder backups/.")
    ] = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Copy store, settings and photos into one file.

    Work may go on meanwhile.
    """
    opened = the_workspace(folder, workspace)
    from crossfall_app.store.backup import back_up

    file = back_up(opened, to=to)
    if as_json:
        say_json({"file": str(file), "bytes": file.stat().st_size})
    else:
        say(f"The backup is {file} ({file.stat().st_size / 1e6:.1f} MB)")


def restore(
    file: Annotated[Path, typer.Argument(metavar="BACKUP", help="A file that backup wrote.")],
    folder: DirArgument = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Bring a backup back.

    It is checked first, and what is here now is kept aside.
    """
    from crossfall_app.store.backup import restore as bring_back

    opened = _even_if_damaged(folder, workspace)
    done = bring_back(opened, file)
    from crossfall_app.store.upkeep import bring_up_to_date

    bring_up_to_date(opened)
    kept = str(done.kept_aside) if done.kept_aside else None
    if as_json:
        say_json({"restored": str(file), "made_at": done.made_at, "kept_aside": kept})
        return
    say(f"{file} of {done.made_at} is back, with {done.n_photos} photos.")
    if kept:
        say(f"What was here before is in {kept}")


def doctor(
    folder: DirArgument = None,
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Check the workspace's health; changes nothing.

    What is broken ends with exit code 2. What is only thin, such as weather that ends long ago, no
    forecast, an assumed fleet or default prices, is told and no failure.
    """
    from crossfall_app.store.doctor import examine

    opened = _even_if_damaged(folder, workspace)
    findings = examine(opened)
    is_well = all(each.is_well for each in findings)
    if as_json:
        rows = [
            {
                "check": each.check,
                "is_well": each.is_well,
                "is_warning": each.is_warning,
                "told": each.told,
            }
            for each in findings
        ]
        say_json({"is_well": is_well, "findings": rows})
    else:
        table = new_table("", "Check", "Found")
        for each in findings:
            mark = "!!" if not each.is_well else "thin" if each.is_warning else "ok"
            table.add_row(mark, each.check, each.told)
        say_table(table)
    if not is_well:
        sick = [each for each in findings if not each.is_well]
        raise WorkspaceError(f"{sick[0].check}: {sick[0].told}")


def run(
    run_id: Annotated[str, typer.Argument(metavar="ID")],
    workspace: WorkspaceOption = None,
) -> None:
    """Do a run that was started from the pages; not for people."""
    opened = the_workspace(None, workspace)
    from crossfall_app.runs.work import work

    try:
        number = UUID(run_id)
    except ValueError:
        raise InputError(f"run {run_id!r} is not the name of a run") from None
    say(work(opened, number))


def _announce(link: str) -> None:
    say("The pages are open. This link lets one person in, once, within a quarter of an hour:")
    say(f"  {link}")
    remark("Ctrl-C closes the pages.")


def _announce_plain(address: str) -> None:
    say(f"Phones that do not trust the office yet get its certificate at {address}")


def _even_if_damaged(folder: Path | None, workspace: Path | None) -> Workspace:
    """The workspace without bringing its store up to date: it may be past opening."""
    from crossfall_app.cli.places import named_workspace
    from crossfall_app.workspace import open_workspace

    return open_workspace(named_workspace(folder, workspace), migrate=False)


COMMANDS = (
    ("serve", serve, False),
    ("backup", backup, False),
    ("restore", restore, False),
    ("doctor", doctor, False),
    ("run", run, True),
)
