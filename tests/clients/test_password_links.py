"""Invitations and forgotten passwords by mail: one use, in time, the same words for everybody, and
only where mail is proven."""

import re
from datetime import UTC, datetime, timedelta
from email import message_from_bytes
from email.policy import default
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils.http import urlsafe_base64_encode
from freezegun import freeze_time

from clients.messaging.actions.staff_notices import mail_staff_notices
from clients.messaging.models import StaffNotice
from clients.messaging.readiness import mail_server_label
from clients.models import Business, User
from restorer.logs import without_secrets
from tests.browser_form import read_form
from tests.peer import Peer
from tests.signing_in import OWN, PASSWORD, set_up_app, signed_in, type_password

pytestmark = [pytest.mark.smtp, pytest.mark.django_db(transaction=True)]
NOON = datetime(2026, 11, 30, 16, tzinfo=UTC)
NEW = "high tide at one"
LINK = re.compile(r"https://decks\.example\.com(/sign-in/new-password/\S+)")


@pytest.fixture
def maren(owner: User, peer: Peer) -> User:
    """The owner, in a book whose mail server has taken a test mail."""
    User.objects.filter(pk=owner.pk).update(email="maren@example.com")
    Business.objects.update(mail_tested_with=mail_server_label())
    return User.objects.get(pk=owner.pk)


def ask(who: str, **more: str) -> Any:
    return Browser(**more).post(reverse("forgotten_password"), {"who": who}, **OWN, follow=True)


def mails_at(now: datetime, peer: Peer) -> list[Any]:
    peer.taken.clear()
    mail_staff_notices(now=now)
    return [message_from_bytes(bytes(each.content), policy=default) for each in peer.taken]


def link_in(mail: Any) -> str:
    (path,) = LINK.findall(mail.get_content())
    return str(path)


def set_password(path: str, password: str = NEW) -> Any:
    fields = {"new_password1": password, "new_password2": password}
    return Browser().post(path, fields, **OWN, follow=True)


def test_a_forgotten_password_is_set_by_a_link_that_counts_once(maren: User, peer: Peer) -> None:
    with freeze_time(NOON):
        before = signed_in(maren)
        ask("MAREN@example.com")
        (mail,) = mails_at(NOON, peer)
        assert mail["To"] == "maren@example.com"
        path = link_in(mail)
        assert "For maren." in Browser().get(path).content.decode()
        assert "too short" in set_password(path, "tide").content.decode()
        assert Browser().get(path).status_code == 200  # looking and a slip use nothing up

        assert "Your password is set." in set_password(path).content.decode()

        assert "This link is over" in set_password(path, "another tide at two").content.decode()
        assert before.get("/").status_code == 302
        maren.refresh_from_db()
        assert maren.check_password(NEW)
        (told,) = mails_at(NOON, peer)
        assert "Your password was changed." in told.get_content()


@pytest.mark.parametrize(("minutes", "is_good"), [(59, True), (61, False)])
def test_the_link_works_for_one_hour(maren: User, peer: Peer, minutes: int, is_good: bool) -> None:
    with freeze_time(NOON):
        ask("maren")
        (mail,) = mails_at(NOON, peer)
    with freeze_time(NOON + timedelta(minutes=minutes)):
        set_password(link_in(mail))

    maren.refresh_from_db()
    assert maren.check_password(NEW) is is_good


def test_signing_in_after_all_ends_the_link(maren: User, peer: Peer) -> None:
    with freeze_time(NOON):
        ask("maren")
        (mail,) = mails_at(NOON, peer)
    with freeze_time(NOON + timedelta(minutes=1)):
        signed_in(maren)
        assert "This link is over" in set_password(link_in(mail)).content.decode()


def test_a_link_of_one_person_sets_nobody_elses_password(
    maren: User, crew: User, peer: Peer
) -> None:
    ask("maren")
    (mail,) = mails_at(datetime.now(UTC), peer)
    own, _, proof = link_in(mail).rstrip("/").rpartition("/")[2].partition(".")
    name = urlsafe_base64_encode(str(crew.pk).encode())
    assert own != name
    for token in (
        f"{name}.{proof}",
        f"{own}.{proof[:-1]}{'1' if proof[-1] == '0' else '0'}",
        "x",
        ".",
        "%FF.x",
        f"{own}.",
    ):
        answer = set_password(reverse("password_by_link", args=[token]))
        assert "This link is over" in answer.content.decode(), token
    crew.refresh_from_db()
    assert crew.check_password(PASSWORD)


def test_the_answer_is_the_same_whether_there_is_such_an_account(maren: User, peer: Peer) -> None:
    User.objects.create(username="gull", email="gull@example.com", is_active=False)
    pages = [ask(who) for who in ("maren", "nobody", "gull", "gull@example.com")]

    texts = {re.sub(r'name="csrf\w+" value="\w+"', "", each.content.decode()) for each in pages}
    assert len(texts) == 1
    assert "If there is such an account" in texts.pop()
    assert [each.user.username for each in StaffNotice.objects.all()] == ["maren"]


def test_asking_is_limited_by_network_and_mailed_once_in_a_while(maren: User, peer: Peer) -> None:
    with freeze_time(NOON):
        for _ in range(10):
            assert "If there is such" in ask("maren").content.decode()
        assert "Too many links" in ask("maren").content.decode()
        assert "If there is such" in ask("maren", REMOTE_ADDR="198.51.100.7").content.decode()

        assert len(mails_at(NOON, peer)) == 1


def test_without_proven_mail_the_page_says_to_ask_the_owner(maren: User, peer: Peer) -> None:
    assert reverse("forgotten_password") in Browser().get("/sign-in/").content.decode()
    Business.objects.update(mail_tested_with="another:25")

    shown = Browser().get("/sign-in/").content.decode()
    assert reverse("forgotten_password") not in shown
    assert "The owner can set a new one" in shown
    assert "Mail does not go out yet." in ask("maren").content.decode()
    assert not StaffNotice.objects.exists()


def invite(browser: Any, **over: str) -> Any:
    fields = {"name": "Fern", "username": "fern", "role": "crew", "email": "fern@example.com"}
    return browser.post(reverse("settings:add_person"), {**fields, **over}, **OWN, follow=True)


def test_an_invitation_lets_somebody_choose_their_own_password(maren: User, peer: Peer) -> None:
    with freeze_time(NOON):
        shown = invite(signed_in(maren)).content.decode()
        assert "An invitation goes to fern@example.com." in shown
        fern = User.objects.get(username="fern")
        assert not fern.has_usable_password()
        mail = next(each for each in mails_at(NOON, peer) if each["To"] == "fern@example.com")
        assert "Your sign-in name is fern." in " ".join(mail.get_content().split())
    with freeze_time(NOON + timedelta(days=6, hours=23)):
        set_password(link_in(mail))
        assert type_password(Browser(), fern).status_code == 200  # not the password of the tests
        browser = Browser()
        browser.post(reverse("sign_in"), {"username": "fern", "password": NEW}, **OWN)
        assert browser.get("/").status_code == 200


def test_an_invitation_is_over_after_seven_days_and_can_be_sent_again(
    maren: User, peer: Peer
) -> None:
    with freeze_time(NOON):
        invite(signed_in(maren))
        fern = User.objects.get(username="fern")
        mail = next(each for each in mails_at(NOON, peer) if each["To"] == "fern@example.com")
    late = NOON + timedelta(days=7, seconds=1)
    with freeze_time(late):
        assert "This link is over" in set_password(link_in(mail)).content.decode()
        boss = signed_in(maren)
        page = boss.get(reverse("settings:person", args=[fern.pk])).content.decode()
        assert "Send the invitation again" in page
        boss.post(reverse("settings:send_password_link", args=[fern.pk]), **OWN)
        again = next(each for each in mails_at(late, peer) if each["To"] == "fern@example.com")
        assert "Your password is set." in set_password(link_in(again)).content.decode()


def test_neither_password_nor_address_is_told(maren: User, peer: Peer) -> None:
    shown = invite(signed_in(maren), email="").content.decode()

    assert "Write the address to invite them at" in shown
    assert not User.objects.filter(username="fern").exists()


def test_a_new_password_does_not_pass_by_the_second_step(maren: User, peer: Peer) -> None:
    with freeze_time(NOON):
        set_up_app(signed_in(maren), NOON)
        mails_at(NOON, peer)
        ask("maren")
        (mail,) = mails_at(NOON, peer)
        set_password(link_in(mail))
        browser = Browser()
        browser.post(reverse("sign_in"), {"username": "maren", "password": NEW}, **OWN)

        assert browser.get("/").status_code == 302


def test_who_was_shut_out_by_wrong_passwords_comes_in_after_the_link(
    maren: User, peer: Peer
) -> None:
    with freeze_time(NOON):
        browser = Browser()
        for _ in range(7):
            browser.post(reverse("sign_in"), {"username": "maren", "password": "no"}, **OWN)
        ask("maren")
        (mail,) = mails_at(NOON, peer)
        set_password(link_in(mail))

        right = browser.post(reverse("sign_in"), {"username": "maren", "password": NEW}, **OWN)
        assert right.status_code == 302


def test_no_link_lies_in_the_database_or_in_the_log(maren: User, peer: Peer) -> None:
    ask("maren")
    (mail,) = mails_at(datetime.now(UTC), peer)
    path = link_in(mail)
    proof = path.rstrip("/").rpartition(".")[2]

    (row,) = StaffNotice.objects.all()
    assert proof not in f"{row.words}{row.url}{row.key}"
    assert without_secrets(f"Not Found: {path}") == "Not Found: /sign-in/new-password/…/"


def test_a_session_left_open_cannot_send_links_to_another_address(maren: User, peer: Peer) -> None:
    with freeze_time(NOON):
        browser = signed_in(maren)
    with freeze_time(NOON + timedelta(minutes=20)):
        fields = {"notices_by": "none", "email": "mallard@example.com"}
        asked = browser.post(reverse("settings:notices"), fields, **OWN)
        assert asked.url.startswith(reverse("settings:prove_it_is_you"))
        maren.refresh_from_db()
        assert maren.email == "maren@example.com"
        back = browser.post(asked.url, {"password": PASSWORD}, **OWN)
        page = browser.get(back.url).content.decode()
        assert "mallard@example.com" in page  # what was typed is there
        browser.post(back.url, fields, **OWN)

    maren.refresh_from_db()
    assert maren.email == "mallard@example.com"


def test_nor_does_it_change_the_address_of_somebody_on_the_page_of_people(
    maren: User, crew: User, peer: Peer
) -> None:
    with freeze_time(NOON):
        browser = signed_in(maren)
    with freeze_time(NOON + timedelta(minutes=20)):
        url = reverse("settings:person", args=[crew.pk])
        fields = {"name": "Tern", "role": "office", "email": "mallard@example.com"}
        asked = browser.post(url, fields, **OWN)
        assert asked.url.startswith(reverse("settings:prove_it_is_you"))
        crew.refresh_from_db()
        assert (crew.email, crew.role, crew.is_active) == ("", "crew", True)

        back = browser.post(asked.url, {"password": PASSWORD}, **OWN)
        _, typed = read_form(browser.get(back.url).content.decode(), "email")
        assert (typed["email"], typed["role"]) == ("mallard@example.com", "office")
        assert "is_active" not in typed  # unticked, as it was sent
        assert browser.post(back.url, typed.dict(), **OWN).url == reverse("settings:people")

    crew.refresh_from_db()
    assert (crew.email, crew.role, crew.is_active) == ("mallard@example.com", "office", False)
