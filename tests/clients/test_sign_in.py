"""Signing in and out: throttled, back to the page that was asked for, and nothing typed is lost."""

import html
import re
from typing import Any

import pytest
from django.contrib.auth import get_user
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from freezegun import freeze_time

from clients.forms import form_recovery
from clients.models import Client, User
from tests.factories import ClientFactory

PASSWORD = "low tide at seven"
OWN = {"HTTP_ORIGIN": "http://testserver", "HTTP_SEC_FETCH_SITE": "same-origin"}
FOREIGN = {"HTTP_ORIGIN": "https://elsewhere.example", "HTTP_SEC_FETCH_SITE": "cross-site"}
EDITED = {
    "name": "Wren Halloway",
    "notes": "Gate code 4711 & <dog>",
    "reach-TOTAL_FORMS": "0",
    "reach-INITIAL_FORMS": "0",
}


def sign_in(browser: Browser, username: str, password: str = PASSWORD, **more: str) -> Any:
    return browser.post(
        reverse("sign_in"), {"username": username, "password": password, **more}, **OWN
    )


def page(response: Any) -> str:
    return str(response.content.decode())


def hidden(response: Any) -> dict[str, str]:
    """The hidden fields of the page, as a browser would send them."""
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)"', page(response))
    return {name: html.unescape(value) for name, value in found}


def test_signing_in_leads_to_the_page_that_was_asked_for(client: Browser, owner: User) -> None:
    asked = client.get("/settings/audit/?person=3")

    assert asked["Location"] == "/sign-in/?next=/settings/audit/%3Fperson%3D3"
    assert (
        sign_in(client, "maren", next="/settings/audit/?person=3").url
        == "/settings/audit/?person=3"
    )


def test_signing_in_never_leads_to_another_site(client: Browser, owner: User) -> None:
    assert sign_in(client, "maren", next="https://elsewhere.example/").url == reverse("today")


def test_a_wrong_password_is_told_without_saying_which_half_was_wrong(
    client: Browser, owner: User
) -> None:
    wrong = sign_in(client, "maren", "high tide")
    unknown = sign_in(client, "nobody", "high tide")

    assert "do not belong together" in page(wrong)
    assert "do not belong together" in page(unknown)


def test_six_wrong_passwords_shut_sign_in_for_a_while(
    client: Browser, owner: User, office: User
) -> None:
    with freeze_time("2027-05-14 12:00:00", tz_offset=0):
        answers = [sign_in(client, "maren", "high tide") for _ in range(6)]
        right = sign_in(client, "maren")

        assert [answer.status_code for answer in answers] == [200] * 5 + [429]
        assert right.status_code == 429
        assert right["Retry-After"] == "900"
        # 12:00 UTC is 9:00 in Halifax in May (UTC−3): the page says the time of the business.
        assert "9:16" in page(right)
        assert sign_in(Browser(), "office").status_code == 302
    with freeze_time("2027-05-14 12:16:30", tz_offset=0):
        assert sign_in(client, "maren").status_code == 302


def test_a_network_that_tries_many_names_is_shut_out_and_nobody_else(
    client: Browser, owner: User
) -> None:
    """With one wrong try for each name no name is ever shut."""
    for n in range(60):
        assert sign_in(client, f"nobody{n}", "high tide").status_code == 200

    assert sign_in(client, "maren").status_code == 429
    assert sign_in(Browser(REMOTE_ADDR="198.51.100.7"), "maren").status_code == 302


def test_wrong_passwords_from_elsewhere_do_not_shut_the_owner_out(
    client: Browser, owner: User
) -> None:
    for n in range(30):
        sign_in(Browser(REMOTE_ADDR=f"198.51.100.{n}"), "maren", "high tide")
    for _ in range(8):
        sign_in(Browser(REMOTE_ADDR="198.51.100.200"), "maren", "high tide")

    assert sign_in(client, "maren").status_code == 302


def test_a_closed_account_is_out_at_once(as_owner: Browser, owner: User) -> None:
    User.objects.filter(pk=owner.pk).update(is_active=False)

    assert as_owner.get("/")["Location"].startswith("/sign-in/")
    assert sign_in(Browser(), "maren").status_code == 200


def test_signing_out_takes_a_press_not_a_link(as_owner: Browser) -> None:
    assert as_owner.get(reverse("sign_out")).status_code == 405
    assert get_user(as_owner).is_authenticated

    answer = as_owner.post(reverse("sign_out"))
    assert not get_user(as_owner).is_authenticated
    assert answer["Clear-Site-Data"] == '"cache", "storage"'  # W3C, Clear Site Data, 3.1


def test_a_form_sent_after_the_session_ended_is_kept_and_sent_with_one_press(owner: User) -> None:
    browser = Browser(enforce_csrf_checks=True)
    row = ClientFactory(name="Marlow Pennington")
    form_url = reverse("clients:edit", args=[row.pk])
    browser.get(reverse("sign_in"))
    token = browser.cookies["csrftoken"].value

    interrupted = browser.post(form_url, EDITED | {"csrfmiddlewaretoken": token}, **OWN)
    assert interrupted.status_code == 403
    assert "Gate code 4711 &amp; &lt;dog&gt;" in page(interrupted)

    credentials = {"username": "maren", "password": PASSWORD}
    once_more = browser.post(reverse("sign_in"), hidden(interrupted) | credentials, **OWN)
    assert f'action="{form_url}"' in page(once_more)
    assert "csrfmiddlewaretoken" in hidden(once_more)

    sent = browser.post(form_url, hidden(once_more), **OWN)
    row.refresh_from_db()
    assert sent["Location"] == reverse("clients:detail", args=[row.pk])
    assert (row.name, row.notes) == ("Wren Halloway", "Gate code 4711 & <dog>")


def test_a_wrong_password_does_not_lose_the_kept_form(owner: User) -> None:
    browser = Browser()
    interrupted = browser.post(reverse("clients:new"), {"client-name": "Wren Halloway"}, **OWN)

    again = browser.post(
        reverse("sign_in"),
        hidden(interrupted) | {"username": "maren", "password": "high tide"},
        **OWN,
    )

    assert form_recovery.unpack_fields(hidden(again)["kept"]) == [("client-name", "Wren Halloway")]


def test_a_stale_token_keeps_what_was_typed_and_gives_a_fresh_one(owner: User) -> None:
    browser = Browser(enforce_csrf_checks=True)
    browser.force_login(owner)
    row = ClientFactory()
    form_url = reverse("clients:edit", args=[row.pk])

    refused = browser.post(form_url, EDITED | {"csrfmiddlewaretoken": "stale"}, **OWN)
    assert refused.status_code == 403
    assert "Gate code 4711" in page(refused)

    browser.post(form_url, hidden(refused), **OWN)
    row.refresh_from_db()
    assert row.name == "Wren Halloway"


@pytest.mark.parametrize(
    "headers", [FOREIGN, {}, {"HTTP_ORIGIN": "null"}, {"HTTP_SEC_FETCH_SITE": "same-site"}]
)
def test_words_of_a_foreign_page_are_never_offered_for_sending(
    owner: User, headers: dict[str, str]
) -> None:
    browser = Browser(enforce_csrf_checks=True)
    browser.force_login(owner)

    refused = browser.post(reverse("clients:new"), {"client-name": "Planted"}, **headers)

    assert refused.status_code == 403
    assert "Planted" not in page(refused)
    assert not Client.objects.exists()


def test_passwords_are_never_kept(owner: User) -> None:
    browser = Browser()

    interrupted = browser.post(
        reverse("settings:add_person"),
        {"name": "Fern", "password": "a secret word", "password_again": "a secret word"},
        **OWN,
    )

    assert "Fern" in page(interrupted)
    assert "a secret word" not in page(interrupted)


def test_more_than_can_be_carried_is_shown_to_be_copied(owner: User) -> None:
    notes = "low tide " * 120_000

    interrupted = Browser().post(
        reverse("clients:new"), {"client-name": "Wren", "client-notes": notes}, **OWN
    )

    assert "too much to carry along" in page(interrupted)
    assert "kept" not in hidden(interrupted)
    assert "Wren" in page(interrupted)


@pytest.mark.parametrize("text", ["{", "[1]", '"x"', '[["a"]]', "null", "[" * 100_000])
def test_what_is_no_kept_form_is_nothing(text: str) -> None:
    assert form_recovery.unpack_fields(text) == []


def test_a_part_of_a_page_sends_the_whole_page_to_sign_in(client: Browser, owner: User) -> None:
    headers = {"HTTP_HX_REQUEST": "true", "HTTP_HX_CURRENT_URL": "http://testserver/decks/"}

    answer = client.get("/decks/?q=cedar", **headers)

    assert (answer.status_code, answer["HX-Redirect"]) == (204, "/sign-in/?next=%2Fdecks%2F")


@pytest.mark.parametrize("username", ["ma\x00ren", "m" * 5_000, ""])
def test_a_name_nobody_can_have_is_answered(client: Browser, owner: User, username: str) -> None:
    assert sign_in(client, username).status_code == 200


def test_a_new_password_ends_other_sessions_but_not_this_one(
    as_owner: Browser, owner: User, as_user: Any
) -> None:
    elsewhere = as_user(owner)
    new = "high tide at noon"

    as_owner.post(
        reverse("settings:own_password"),
        {"old_password": PASSWORD, "new_password1": new, "new_password2": new},
    )

    assert as_owner.get(reverse("settings:overview")).status_code == 200
    assert elsewhere.get(reverse("settings:overview")).status_code == 302
    owner.refresh_from_db()
    assert owner.check_password(new)


def test_a_signed_in_person_is_not_asked_again(as_owner: Browser) -> None:
    assert as_owner.get(reverse("sign_in"))["Location"] == reverse("today")
    assert timezone.get_current_timezone_name() == "UTC"
