"""What the office does without its pages: take a card back, and let somebody in."""

from __future__ import annotations

from typing import Annotated

import typer

from crossfall.errors import InputError
from crossfall_app.cli.keep import PORT
from crossfall_app.cli.places import JsonOption, WorkspaceOption, the_person, the_workspace
from crossfall_app.cli.speak import remark, say, say_json


def withdraw(
    card: Annotated[int, typer.Argument(metavar="CARD", help="Its number.")],
    because: Annotated[str, typer.Option(metavar="WHY", help="The reason; crews see it.")],
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """Take a draft or an issued card back, with the reason.

    Its text stays as it was written. What is to be done instead is a new version, made on the
    card's page, or the next plan.
    """
    the_workspace(None, workspace)
    from crossfall_app.store.card_life import load_card, withdraw_card

    was = load_card(card)
    gone = withdraw_card(card, because=because, by=the_person())
    if as_json:
        say_json(
            {
                "card": gone.number,
                "version": gone.version,
                "status": gone.status,
                "was": was.status,
                "because": gone.withdrawn_because,
            }
        )
        return
    say(f"Card {gone.number}, version {gone.version}, is withdrawn: {gone.withdrawn_because}")
    if was.status == "issued":
        remark(f"it was with {gone.machine} for {gone.day}: call the crew and tell them")


def link(
    user: Annotated[
        str | None,
        typer.Option(metavar="ACCOUNT", help="Whom it lets in; the superintendent if unsaid."),
    ] = None,
    url: Annotated[
        str, typer.Option(metavar="URL", help="Where the pages are served.")
    ] = f"http://127.0.0.1:{PORT}",
    workspace: WorkspaceOption = None,
    as_json: JsonOption = False,
) -> None:
    """A one-time link into the pages while they are served.

    It works once, for a quarter of an hour, and ends older links of the same account that nobody
    has used. Only its hash is kept, and that it was made is in the audit.
    """
    the_workspace(None, workspace)
    from urllib.parse import urlsplit

    from django.contrib.auth import get_user_model
    from django.db import transaction
    from django.utils import timezone

    from crossfall_app.store import audit
    from crossfall_app.web.roles import FIRST_USER
    from crossfall_app.web.signin import LINK_LIFE, make_link

    where = urlsplit(url)
    if where.scheme not in ("http", "https") or not where.netloc:
        raise InputError(f"--url is {url!r}; expected an address such as https://office.lan:8765")
    name = (user or FIRST_USER).strip().lower()
    known = get_user_model().objects.filter(username=name).first()
    if known is None and name != FIRST_USER:
        raise InputError(f"account {name!r} is unknown; invite the person on the People page")
    if known is not None and not known.is_active:
        raise InputError(f"account {name!r} is shut out; let it in again on the People page")
    with transaction.atomic():
        path = make_link(now=timezone.now(), username=name)
        audit.note("link", "account", name, who=the_person())
    minutes = round(LINK_LIFE.total_seconds() / 60)
    found = f"{where.scheme}://{where.netloc}{path}"
    if as_json:
        say_json({"account": name, "link": found, "minutes": minutes})
        return
    say(found)
    remark(f"it lets {name} in, once, within {minutes} minutes; hand it to nobody else")


COMMANDS = (("withdraw", withdraw, False), ("link", link, False))
