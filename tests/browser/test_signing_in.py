"""Passkeys in a real Chromium with an authenticator of its developer tools (WebAuthn domain of the
DevTools protocol), the second step without scripts, and how the pages look."""

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from clients.models import Authenticator, Passkey, RecoveryCode, User
from tests.browser.conftest import faults_of_both_looks
from tests.signing_in import PASSWORD, code_of

OPTIONS = {
    "protocol": "ctap2",
    "transport": "internal",
    "hasResidentKey": True,
    "hasUserVerification": True,
    "isUserVerified": True,
    "automaticPresenceSimulation": True,
}


def authenticator(page: Page, **over: Any) -> tuple[Any, str]:
    """A virtual authenticator of this page's browser: the session to command it, and its number."""
    session = page.context.new_cdp_session(page)
    session.send("WebAuthn.enable")
    made = session.send("WebAuthn.addVirtualAuthenticator", {"options": {**OPTIONS, **over}})
    return session, made["authenticatorId"]


def type_in(page: Page, person: User) -> None:
    page.get_by_label("Sign-in name").fill(person.username)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()


def sign_in_at(page: Page, person: User, path: str) -> None:
    page.goto(f"/sign-in/?next={path}")
    type_in(page, person)


def sign_out(page: Page) -> None:
    page.context.clear_cookies()


def add_passkey(page: Page, name: str = "my phone") -> None:
    page.get_by_label("Name of the passkey").fill(name)
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.get_by_role("heading", name="Recovery codes")).to_be_visible()


@pytest.fixture
def crew(people: dict[str, User]) -> User:
    return people["crew"]


def test_a_passkey_signs_in_without_a_password(open_as: Callable[..., Page], crew: User) -> None:
    page = open_as("", "/sign-in/")
    session, number = authenticator(page)
    expect(page.get_by_role("button", name="Sign in with a passkey")).to_have_count(0)
    sign_in_at(page, crew, "/settings/signing-in/")
    add_passkey(page)
    row = Passkey.objects.get()
    # W3C Web Authentication, level 3, 14.6.1: the handle tells nothing of the person
    (held,) = session.send("WebAuthn.getCredentials", {"authenticatorId": number})["credentials"]
    crew.refresh_from_db()
    assert (row.name, row.user_id, held["rpId"]) == ("my phone", crew.pk, "localhost")
    assert crew.username not in held["userHandle"]
    sign_out(page)

    page.goto("/sign-in/?next=/clients/")
    page.get_by_role("button", name="Sign in with a passkey").click()

    expect(page.get_by_role("heading", name="Clients", level=1)).to_be_visible()
    row.refresh_from_db()
    assert row.last_used_at is not None
    assert row.sign_count > 0  # 6.1.1: it grows, so that a copy is noticed


def test_a_passkey_is_the_second_step_after_the_password(
    open_as: Callable[..., Page], crew: User
) -> None:
    page = open_as("", "/sign-in/")
    # a key that only knows that it was touched: it does not sign in alone
    authenticator(page, hasResidentKey=False, hasUserVerification=False, transport="usb")
    sign_in_at(page, crew, "/settings/signing-in/")
    add_passkey(page, "blue key")
    sign_out(page)
    sign_in_at(page, crew, "/clients/")
    expect(page.get_by_role("heading", name="One more step")).to_be_visible()

    page.get_by_role("button", name="Use a passkey").click()

    expect(page.get_by_role("heading", name="Clients", level=1)).to_be_visible()


def test_a_key_that_only_was_touched_does_not_replace_the_password(
    open_as: Callable[..., Page], crew: User
) -> None:
    page = open_as("", "/sign-in/")
    session, number = authenticator(page)
    sign_in_at(page, crew, "/settings/signing-in/")
    add_passkey(page)
    sign_out(page)
    session.send("WebAuthn.setUserVerified", {"authenticatorId": number, "isUserVerified": False})
    page.goto("/sign-in/?next=/clients/")
    page.get_by_role("button", name="Sign in with a passkey").click()

    expect(page.get_by_text("No passkey was used.")).to_be_visible()
    assert Passkey.objects.get().last_used_at is None


def test_a_removed_passkey_signs_nobody_in(open_as: Callable[..., Page], crew: User) -> None:
    page = open_as("", "/sign-in/")
    authenticator(page)
    sign_in_at(page, crew, "/settings/signing-in/")
    add_passkey(page)
    copy = Passkey.objects.get()
    page.get_by_role("link", name="I have them").click()
    page.get_by_role("button", name="Remove my phone").click()
    expect(page.get_by_text("my phone is removed.")).to_be_visible()
    assert not RecoveryCode.objects.exists()
    sign_out(page)
    # somebody else's passkey keeps the button on the page
    copy.pk = None
    copy.credential_id = b"another"
    copy.save()

    page.goto("/sign-in/?next=/clients/")
    page.get_by_role("button", name="Sign in with a passkey").click()

    expect(page.get_by_text("That passkey did not sign you in.")).to_be_visible()


def test_an_answer_that_was_changed_or_sent_again_is_refused(
    open_as: Callable[..., Page], crew: User
) -> None:
    page = open_as("", "/sign-in/", may_complain=True)
    authenticator(page)
    sign_in_at(page, crew, "/settings/signing-in/")
    add_passkey(page)
    sign_out(page)
    page.goto("/sign-in/?next=/clients/")
    sent: list[str] = []
    page.on("request", lambda each: sent.append(each.post_data or ""))
    page.get_by_role("button", name="Sign in with a passkey").click()
    expect(page.get_by_role("heading", name="Clients", level=1)).to_be_visible()
    (answer,) = [each for each in sent if "answer=" in each and "rawId" in each]
    sign_out(page)
    page.goto("/sign-in/")
    before = Passkey.objects.get().last_used_at

    page.evaluate(
        """body => {
            const form = document.querySelector("main form");
            form.action = "/sign-in/passkey/";
            form.elements.answer.value = new URLSearchParams(body).get("answer");
            form.submit();
        }""",
        answer,
    )

    expect(page.get_by_text("That passkey did not sign you in.")).to_be_visible()
    assert Passkey.objects.get().last_used_at == before


def test_an_app_is_set_up_and_used_without_scripts(
    open_as: Callable[..., Page], crew: User
) -> None:
    page = open_as("", "/sign-in/", scripts=False)
    sign_in_at(page, crew, "/settings/signing-in/app/")
    key = page.locator("dd code").inner_text().replace(" ", "")
    page.get_by_label("Code").fill(code_of(key, datetime.now(UTC)))
    page.get_by_role("button", name="Set up").click()
    shown = page.locator("ol code")
    expect(shown).to_have_count(10)
    codes = shown.all_inner_texts()
    page.get_by_role("link", name="I have them").click()
    expect(page.get_by_text("10 left.")).to_be_visible()
    sign_out(page)

    sign_in_at(page, crew, "/clients/")
    page.get_by_label("Code").fill(codes[0])
    page.get_by_role("button", name="Sign in").click()

    expect(page.get_by_role("heading", name="Clients", level=1)).to_be_visible()


def test_the_pages_of_signing_in_look_right(open_as: Callable[..., Page], crew: User) -> None:
    page = open_as("", "/sign-in/")
    authenticator(page)
    sign_in_at(page, crew, "/settings/signing-in/app/")
    assert faults_of_both_looks(page) == []
    key = page.locator("dd code").inner_text().replace(" ", "")
    page.get_by_label("Code").fill(code_of(key, datetime.now(UTC)))
    page.get_by_role("button", name="Set up").click()
    expect(page.get_by_role("heading", name="Recovery codes")).to_be_visible()
    assert faults_of_both_looks(page) == []
    page.get_by_role("link", name="I have them").click()
    page.get_by_label("Name of the passkey").fill("my phone")
    page.get_by_role("button", name="Add a passkey").click()
    expect(page.get_by_text("The passkey is added.")).to_be_visible()
    assert faults_of_both_looks(page) == []
    sign_out(page)
    sign_in_at(page, crew, "/clients/")
    expect(page.get_by_role("heading", name="One more step")).to_be_visible()
    assert faults_of_both_looks(page) == []
    assert Authenticator.objects.count() == 1
