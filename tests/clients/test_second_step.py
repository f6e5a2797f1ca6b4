"""The second step: codes of an app and on paper count once, wrong ones are limited, the owner may
require it and reset it, and a page left open cannot change it."""

import base64
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from io import StringIO
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.contrib.auth import get_user
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client as Browser
from django.urls import reverse
from freezegun import freeze_time

from clients.actions.second_steps import use_code
from clients.messaging.models import StaffNotice
from clients.models import Authenticator, Business, Client, RecoveryCode, User
from clients.signing_in import hash_recovery_code, matching_step, new_recovery_codes
from tests.signing_in import OWN, code_of, set_up_app, signed_in, type_password

NOON = datetime(2026, 11, 30, 16, tzinfo=UTC)
LATER = NOON + timedelta(minutes=5)
HALF_A_MINUTE = timedelta(seconds=30)

# RFC 6238, appendix B (SHA-1; the last six of the eight digits, RFC 4226, 5.3: modulo 10^6)
RFC_KEY = base64.b32encode(b"12345678901234567890").decode()
RFC_6238 = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]
# RFC 4226, appendix D: the first ten values for the same key
RFC_4226 = "755224 287082 359152 969429 338314 254676 287922 162583 399871 520489".split()


@pytest.mark.parametrize(("seconds", "digits"), RFC_6238)
def test_codes_are_those_of_rfc_6238(seconds: int, digits: str) -> None:
    now = datetime.fromtimestamp(seconds, UTC)

    assert matching_step(RFC_KEY, digits[-6:], now=now, after=0) == seconds // 30
    assert matching_step(RFC_KEY, digits[-6:], now=now, after=seconds // 30) is None


def test_codes_are_those_of_rfc_4226_and_count_a_step_early_or_late() -> None:
    for step, code in enumerate(RFC_4226):
        for off, is_right in [(-2, False), (-1, True), (0, True), (1, True), (2, False)]:
            if (clock := step + off) >= 0:
                now = datetime.fromtimestamp(30 * clock, UTC)
                found = matching_step(RFC_KEY, code, now=now, after=-1)
                assert found == (step if is_right else None)


def test_recovery_codes_are_long_and_forgive_how_they_are_typed() -> None:
    codes = new_recovery_codes()

    assert len(set(codes)) == 10
    # RFC 4648, 6: five bits a letter, here 16 letters
    assert all(len(base64.b32decode(each.replace("-", "").upper())) == 10 for each in codes)
    typed = " ".join(codes[0].upper().split("-")).replace("O", "0")
    assert hash_recovery_code(typed, person=1) == hash_recovery_code(codes[0], person=1)
    assert hash_recovery_code(codes[0], person=2) != hash_recovery_code(codes[0], person=1)


def send_code(browser: Browser, code: str) -> Any:
    return browser.post(reverse("second_step"), {"code": code}, **OWN)


def is_in(browser: Browser) -> bool:
    return bool(get_user(browser).is_authenticated)


def with_app(person: User) -> tuple[str, list[str]]:
    with freeze_time(NOON):
        return set_up_app(signed_in(person), NOON)


def test_after_the_password_the_code_of_the_app_signs_in(owner: User) -> None:
    key, _ = with_app(owner)
    browser = Browser()
    with freeze_time(LATER):
        asked = type_password(browser, owner, next="/settings/audit/")
        assert asked.url == reverse("second_step")
        assert not is_in(browser)
        assert browser.get("/")["Location"] == "/sign-in/?next=/"

        answer = send_code(browser, code_of(key, LATER))

        assert answer.url == "/settings/audit/"
        assert is_in(browser)


def test_the_key_lies_sealed_in_the_database(owner: User) -> None:
    key, codes = with_app(owner)

    row = Authenticator.objects.get()
    assert key not in row.key_sealed
    assert row.key == key
    assert len(codes) == 10
    kept = {each.code_hash for each in RecoveryCode.objects.all()}
    assert kept == {hash_recovery_code(code, person=owner.pk) for code in codes}


def test_a_code_counts_once(owner: User) -> None:
    key, _ = with_app(owner)
    with freeze_time(LATER):
        code = code_of(key, LATER)
        for is_right in (True, False):
            browser = Browser()
            type_password(browser, owner)
            send_code(browser, code)
            assert is_in(browser) is is_right
        older = Browser()
        type_password(older, owner)
        send_code(older, code_of(key, LATER - HALF_A_MINUTE))
        assert not is_in(older)


def test_the_code_that_set_the_app_up_does_not_sign_in(owner: User) -> None:
    key, _ = with_app(owner)
    browser = Browser()
    with freeze_time(NOON):
        type_password(browser, owner)
        send_code(browser, code_of(key, NOON))

    assert not is_in(browser)


def test_a_recovery_code_counts_once_and_the_person_hears_of_it(owner: User) -> None:
    User.objects.update(email="maren@example.com")
    _, codes = with_app(owner)
    for is_right in (True, False):
        browser = Browser()
        type_password(browser, owner)
        send_code(browser, codes[3].replace("-", " ").upper())
        assert is_in(browser) is is_right

    assert StaffNotice.objects.filter(words="A recovery code was used to sign in. 9 left.").exists()


def test_somebody_elses_recovery_code_does_not_count(owner: User, office: User) -> None:
    with_app(owner)
    _, codes = with_app(office)
    browser = Browser()
    type_password(browser, owner)
    send_code(browser, codes[0])

    assert not is_in(browser)


def test_wrong_codes_are_limited_by_network_and_in_all(owner: User) -> None:
    User.objects.update(email="maren@example.com")
    key, codes = with_app(owner)
    with freeze_time(LATER):
        browser = Browser()
        type_password(browser, owner)
        for _ in range(10):
            assert send_code(browser, "000000").status_code == 200

        assert send_code(browser, code_of(key, LATER)).status_code == 429
        assert not is_in(browser)

        elsewhere = Browser(REMOTE_ADDR="198.51.100.7")
        type_password(elsewhere, owner)
        send_code(elsewhere, codes[0])
        assert is_in(elsewhere)  # not shut out by what somebody does from another network
    assert StaffNotice.objects.filter(words__startswith="Somebody who has your password").count()


def test_thirty_wrong_codes_an_hour_are_all_there_are(owner: User) -> None:
    key, _ = with_app(owner)
    with freeze_time(LATER):
        for network in range(3):
            browser = Browser(REMOTE_ADDR=f"198.51.100.{network}")
            type_password(browser, owner)
            for _ in range(10):
                send_code(browser, "000000")
        fresh = Browser(REMOTE_ADDR="198.51.100.99")
        type_password(fresh, owner)

        assert send_code(fresh, code_of(key, LATER)).status_code == 429
    with freeze_time(LATER + timedelta(hours=1)):
        late = Browser()
        type_password(late, owner)
        send_code(late, code_of(key, LATER + timedelta(hours=1)))
        assert is_in(late)


def test_the_half_of_a_sign_in_does_not_last(owner: User) -> None:
    key, _ = with_app(owner)
    browser = Browser()
    with freeze_time(LATER):
        type_password(browser, owner)
    too_late = LATER + timedelta(minutes=11)
    with freeze_time(too_late):
        answer = send_code(browser, code_of(key, too_late))

    assert answer.url == reverse("sign_in")
    assert not is_in(browser)


def test_who_begins_again_begins_with_the_password(owner: User) -> None:
    _, codes = with_app(owner)
    browser = Browser()
    type_password(browser, owner)
    browser.get(reverse("sign_in"))

    assert send_code(browser, codes[0]).url == reverse("sign_in")
    assert not is_in(browser)


def test_a_changed_password_ends_the_half_of_a_sign_in(owner: User) -> None:
    _, codes = with_app(owner)
    browser = Browser()
    type_password(browser, owner)
    owner.refresh_from_db()
    owner.set_password("high tide at one")
    owner.save()

    assert send_code(browser, codes[0]).url == reverse("sign_in")


def test_an_interrupted_form_comes_back_after_the_second_step(owner: User) -> None:
    _, codes = with_app(owner)
    browser = Browser()
    interrupted = browser.post("/clients/new/", {"name": "Wren Halloway"}, **OWN)
    kept = interrupted.context["kept"]
    type_password(browser, owner, kept=kept, next="/clients/new/")

    answer = send_code(browser, codes[0])

    assert "Wren Halloway" in answer.content.decode()
    assert 'action="/clients/new/"' in answer.content.decode()
    assert Client.objects.count() == 0


def test_setting_up_ends_other_sessions_and_mails_the_person(owner: User) -> None:
    User.objects.update(email="maren@example.com", notices_by="none")
    with freeze_time(NOON):
        other, own = signed_in(owner), signed_in(owner)
        set_up_app(own, NOON)

        assert own.get("/settings/").status_code == 200
        assert other.get("/settings/").status_code == 302
    told = StaffNotice.objects.get(words="An authenticator app was set up.")
    assert (told.user, told.is_urgent) == (owner, True)


def test_a_session_that_is_older_must_prove_who_it_is_first(owner: User) -> None:
    with freeze_time(NOON):
        browser = signed_in(owner)
    with freeze_time(NOON + timedelta(minutes=16)):
        asked = browser.get(reverse("settings:app"))
        prove = reverse("settings:prove_it_is_you")
        assert asked.url == f"{prove}?next=%2Fsettings%2Fsigning-in%2Fapp%2F"
        wrong = browser.post(asked.url, {"password": "high tide"}, **OWN)
        assert "That is not your password." in wrong.content.decode()
        assert browser.get(reverse("settings:app")).status_code == 302

        right = browser.post(asked.url, {"password": "low tide at seven"}, **OWN)

        assert right.url == reverse("settings:app")
        assert browser.get(right.url).status_code == 200
        away = browser.post(
            f"{prove}?next=https://elsewhere.example/", {"password": "low tide at seven"}, **OWN
        )
        assert away.url == reverse("settings:signing_in")


def test_a_wrong_code_sets_nothing_up_and_keeps_the_key(owner: User) -> None:
    browser = signed_in(owner)
    page = browser.get(reverse("settings:app")).content
    answer = browser.post(reverse("settings:app"), {"code": "000000"}, **OWN)

    assert "That is not the code of the app" in answer.content.decode()
    assert b"Code for your authenticator app</title>" in page
    assert not Authenticator.objects.exists()


def test_who_must_have_a_second_step_is_led_to_it_at_the_next_sign_in(
    owner: User, crew: User
) -> None:
    with freeze_time(NOON):
        before = signed_in(crew)
        boss = signed_in(owner)
        boss.post(reverse("settings:require_second_step"), {"roles": ["crew"]}, **OWN)
        assert Business.objects.get().second_step_roles == ["crew"]
        assert before.get("/clients/").status_code == 200

        browser = signed_in(crew)
        assert browser.get("/clients/").url == reverse("settings:signing_in")
        kept = browser.post("/clients/new/", {"name": "Wren Halloway"}, **OWN)
        assert "Wren Halloway" in kept.content.decode()
        assert not Client.objects.exists()
        assert (
            "The owner wants a second step"
            in browser.get(reverse("settings:signing_in")).content.decode()
        )

        set_up_app(browser, NOON)

        assert browser.get("/clients/").status_code == 200
        refused = browser.post(reverse("settings:remove_app"), **OWN, follow=True)
        assert "Set up another one first" in refused.content.decode()
        assert Authenticator.objects.filter(user=crew).exists()


def test_the_owner_resets_a_lost_second_step(owner: User, crew: User) -> None:
    with_app(crew)
    boss = signed_in(owner)
    page = boss.get(reverse("settings:person", args=[crew.pk])).content.decode()
    assert "Reset the second step" in page

    boss.post(reverse("settings:reset_second_step", args=[crew.pk]), **OWN)

    assert is_in(signed_in(crew))
    assert not RecoveryCode.objects.filter(user=crew).exists()


def test_without_a_second_step_there_are_no_recovery_codes(owner: User) -> None:
    _, codes = with_app(owner)
    browser = Browser()
    type_password(browser, owner)
    send_code(browser, codes[0])
    browser.post(reverse("settings:remove_app"), **OWN)

    assert not RecoveryCode.objects.exists()
    refused = browser.post(reverse("settings:recovery_codes"), **OWN, follow=True)
    assert "Set up an app or a passkey first." in refused.content.decode()
    assert is_in(signed_in(owner))


def test_with_another_key_of_the_installation_a_recovery_code_still_helps(
    owner: User, settings: Any
) -> None:
    key, codes = with_app(owner)
    settings.SECRET_KEY = "another key, which seals and signs all else from now on"
    browser = Browser()
    with freeze_time(LATER):
        type_password(browser, owner)
        assert send_code(browser, code_of(key, LATER)).status_code == 200
        send_code(browser, codes[0])

        assert is_in(browser)


def test_a_business_name_that_fits_no_qr_code_leaves_the_key_to_type(owner: User) -> None:
    Business.objects.update(name="\N{DECIDUOUS TREE}" * 40)

    page = signed_in(owner).get(reverse("settings:app")).content.decode()

    assert "Code for your authenticator app</title>" not in page
    assert "Type the key." in page


def test_a_command_resets_it_for_an_owner_who_lost_everything(owner: User) -> None:
    with_app(owner)
    out = StringIO()
    call_command("reset_second_step", "maren", stdout=out)

    assert out.getvalue() == "Maren signs in with the password alone.\n"
    assert is_in(signed_in(owner))
    with pytest.raises(CommandError, match="Nobody signs in as gull"):
        call_command("reset_second_step", "gull")


def test_the_trail_says_who_set_up_what_and_no_secret(owner: User) -> None:
    key, _ = with_app(owner)
    row = Authenticator.objects.get()

    entries = list(LogEntry.objects.filter(content_type__model="authenticator"))
    assert [each.actor for each in entries] == [owner]
    assert key not in str(entries[0].changes)
    assert row.key_sealed not in str(entries[0].changes)
    browser = signed_in_with_code(owner, key)
    with freeze_time(LATER):
        page = browser.get("/settings/audit/").content.decode()
    assert "Authenticator app of Maren" in page


def signed_in_with_code(person: User, key: str) -> Browser:
    browser = Browser()
    with freeze_time(LATER):
        type_password(browser, person)
        send_code(browser, code_of(key, LATER))
    return browser


@pytest.mark.django_db(transaction=True)
def test_of_two_who_send_one_code_at_once_one_comes_in(owner: User) -> None:
    key, codes = with_app(owner)
    app_code = code_of(key, LATER)

    def send(code: str) -> bool:
        try:
            return use_code(person=owner, code=code, now=LATER)
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as pool:
        for code in (app_code, codes[0]):
            assert sum(pool.map(send, [code] * 4)) == 1
