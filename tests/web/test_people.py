"""Accounts without e-mail: invited, let in, locked out, refused by role; all of it on record."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.contrib.auth import get_user_model
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from crossfall.errors import InputError
from crossfall_app.store import audit, models
from crossfall_app.web import people, urls
from crossfall_app.web.models import Member, SignIn, SignInLink
from crossfall_app.web.roles import Role, least_role, role_of
from web_addresses import address_of

pytestmark = pytest.mark.django_db
PASSWORD = "three quiet graders"


def _visitor(role: str, name: str = "Ada Moe") -> Client:
    user = get_user_model().objects.create(username=role + "-one")
    Member.objects.create(user=user, name=name, role=role)
    visitor = Client()
    visitor.force_login(user)
    return visitor


def _link_in(answer) -> str:
    found = re.search(r"/enter/[\w-]+/", answer.content.decode())
    assert found
    return found[0]


def _invited(superintendent, **given) -> str:
    form = {"name": "Ada Moe", "username": "ada", "role": "foreman"} | given
    return _link_in(superintendent.post("/people/invite/", form))


def test_an_invitation_makes_an_account_with_a_password_of_its_own(office, superintendent):
    link = _invited(superintendent)
    stranger = Client()
    assert b"Welcome, Ada Moe" in stranger.get(link).content
    short = stranger.post(link, {"password": "short", "again": "short"})
    assert short.status_code == 400
    other = stranger.post(link, {"password": PASSWORD, "again": PASSWORD + "s"})
    assert b"not the same" in other.content
    answer = stranger.post(link, {"password": PASSWORD, "again": PASSWORD})
    assert (answer.status_code, answer.url) == (302, "/")
    assert stranger.get("/").status_code == 200
    assert Client().post(link, {"password": PASSWORD, "again": PASSWORD}).status_code == 410
    again = Client()
    assert again.post("/door/", {"username": "Ada", "password": PASSWORD}).status_code == 302
    assert b"Ada Moe" in again.get("/account/").content
    assert PASSWORD not in str(list(models.Audit.objects.values_list("before", "after")))
    told = models.Audit.objects.filter(table="account").values_list("action", "who")
    assert list(told) == [("invite", "superintendent"), ("password", "ada")]


def test_a_forgotten_password_is_a_link_that_works_once(office, superintendent):
    first = _invited(superintendent)
    Client().post(first, {"password": PASSWORD, "again": PASSWORD})
    ada = get_user_model().objects.get(username="ada")
    link = _link_in(superintendent.post(f"/people/{ada.pk}/link/"))
    new = PASSWORD + " more"
    assert Client().post(link, {"password": new, "again": new}).status_code == 302
    assert Client().post("/door/", {"username": "ada", "password": PASSWORD}).status_code == 403
    assert Client().post("/door/", {"username": "ada", "password": new}).status_code == 302


def test_an_invitation_ends_after_its_days(office, superintendent):
    link = _invited(superintendent)
    SignInLink.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert Client().get(link).status_code == 410


def test_five_wrong_passwords_shut_the_door_even_for_the_right_one(office, superintendent):
    Client().post(_invited(superintendent), {"password": PASSWORD, "again": PASSWORD})
    for _ in range(5):
        answer = Client().post("/door/", {"username": "ada", "password": "wrong guess"})
        assert answer.status_code in {403, 429}
    shut = Client().post("/door/", {"username": "ada", "password": PASSWORD})
    assert shut.status_code == 429
    assert b"stays shut for a while" in shut.content
    other = Client().post("/door/", {"username": "nobody", "password": PASSWORD})
    assert other.status_code == 403, "only that account is shut"


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"username": "a b"}, "account name"),
        ({"name": "  "}, "name is empty"),
        ({"role": "king"}, "role is"),
        ({"username": "superintendent"}, "is there already"),
    ],
)
def test_a_bad_invitation_makes_nothing(office, superintendent, given, told):
    form = {"name": "Ada Moe", "username": "ada", "role": "foreman"} | given
    answer = superintendent.post("/people/invite/", form)
    assert answer.status_code == 400
    assert told in answer.content.decode().lower()
    assert get_user_model().objects.count() == 1
    assert not models.Audit.objects.filter(table="account").exists()


@pytest.mark.parametrize("role", [each.word for each in Role])
def test_every_address_asks_for_its_role(planned_office, role):
    """All addresses by all roles: what the table refuses is refused before anything happens."""
    visitor = _visitor(role)
    user = get_user_model().objects.get(username=f"{role}-one")
    for pattern in urls.urlpatterns:
        address = address_of(pattern)
        visitor.force_login(user)
        for is_change, ask in ((False, visitor.get), (True, visitor.post)):
            before = models.Audit.objects.count()
            status = ask(address).status_code
            if Role[role.upper()] < least_role(pattern.name, is_change=is_change):
                assert status == 403, pattern.name
                assert models.Audit.objects.count() == before, pattern.name
            else:
                assert status != 403, pattern.name


def test_a_viewer_changes_nothing_at_all(planned_office):
    """No address that takes a change is open to viewers, but leaving and one's own account."""
    own = {"leave", "account", "session-end", "door", "enter"}
    visitor = _visitor("viewer")
    for pattern in urls.urlpatterns:
        if pattern.name not in own:
            answer = visitor.post(address_of(pattern))
            assert answer.status_code in {403, 405}, pattern.name


def test_approvals_carry_the_accounts_own_name(planned_office):
    foreman = _visitor("foreman", "Ada Moe")
    numbers = list(models.JobCard.objects.values_list("number", flat=True))
    foreman.post("/cards/issue/", {"card": numbers[0], "approved_by": "Somebody Else"})
    card = models.JobCard.objects.get(number=numbers[0])
    assert (card.status, card.approved_by) == ("issued", "Ada Moe")


def test_the_last_superintendent_stays(office, superintendent):
    own = get_user_model().objects.get(username="superintendent")
    form = {"name": "Sue", "role": "viewer", "is_active": "1"}
    answer = superintendent.post(f"/people/{own.pk}/change/", form, follow=True)
    assert "only superintendent" in answer.content.decode()
    assert role_of(get_user_model().objects.get(pk=own.pk)) is Role.SUPERINTENDENT


def test_who_is_shut_out_is_out_at_once(office, superintendent):
    visitor = _visitor("foreman")
    assert visitor.get("/").status_code == 200
    user = get_user_model().objects.get(username="foreman-one")
    form = {"name": "Ada Moe", "role": "foreman"}
    superintendent.post(f"/people/{user.pk}/change/", form)
    assert visitor.get("/").status_code == 302
    assert not SignIn.objects.filter(user=user).exists()
    line = models.Audit.objects.order_by("-pk").first()
    assert (line.before["is_active"], line.after["is_active"]) == (True, False)


def test_a_session_ends_from_another_browser(office):
    here, there = _visitor("operator"), Client()
    user = get_user_model().objects.get(username="operator-one")
    there.force_login(user)
    for each in (here, there):
        each.get("/", headers={"user-agent": "Mozilla/5.0 (iPhone) Safari/1"})
    other = SignIn.objects.get(session_key=there.session.session_key)
    assert "Safari on iPhone" in here.get("/account/").content.decode()
    here.post(reverse("session-end", args=[other.pk]))
    assert there.get("/").status_code == 302
    assert here.get("/").status_code == 200


def test_nobody_ends_the_session_of_somebody_else(office, superintendent):
    superintendent.get("/")
    row = SignIn.objects.get()
    _visitor("foreman").post(reverse("session-end", args=[row.pk]))
    assert superintendent.get("/").status_code == 200


def test_changes_are_told_with_what_stood_there_before(office, superintendent):
    visitor = _visitor("viewer")
    user = get_user_model().objects.get(username="viewer-one")
    form = {"name": "Ada Moe", "role": "operator", "is_active": "1"}
    superintendent.post(f"/people/{user.pk}/change/", form)
    text = superintendent.get("/changes/?table=account").content.decode()
    assert "<del>viewer</del> → operator" in text
    assert "the chain is whole" in text
    file = superintendent.get("/changes.csv?table=account").content.decode()
    assert file.splitlines()[1].split(",")[2:6] == [
        "superintendent", "change", "account", "viewer-one",
    ]  # fmt: skip
    assert visitor.get("/changes/").status_code == 403
    assert audit.first_break() is None
    models.Audit.objects.filter(pk=1).update(who="somebody")
    assert "the chain is broken" in superintendent.get("/changes/").content.decode()


def test_changes_come_in_pages(office, superintendent):
    audit.note_all([audit.Change("try", "plan", str(n)) for n in range(130)], who="tests")
    first = superintendent.get("/changes/?who=tests&table=plan").content.decode()
    older = re.search(r"before=(\d+)", first)
    assert older
    second = superintendent.get(f"/changes/?who=tests&table=plan&before={older[1]}")
    assert second.content.decode().count("<tr id=") == 30


def test_own_password_needs_the_old_one(office, superintendent):
    link = _invited(superintendent)
    ada = Client()
    ada.post(link, {"password": PASSWORD, "again": PASSWORD})
    new = "other quiet rollers"
    wrong = ada.post("/account/", {"old": "no", "password": new, "again": new})
    assert b"old password is not right" in wrong.content
    ada.post("/account/", {"old": PASSWORD, "password": new, "again": new})
    assert ada.get("/").status_code == 200, "this browser stays signed in"
    assert Client().post("/door/", {"username": "ada", "password": new}).status_code == 302


def test_an_unknown_account_is_said(office, superintendent):
    assert superintendent.post("/people/999/link/").status_code == 404
    with pytest.raises(InputError, match="unknown"):
        people.change(999, name="x", role="viewer", is_active=True, by="tests")
