"""Sessions: as long as somebody said, listed by device, ended singly or all; a new device is told
of and never kept from signing in."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.contrib.auth import get_user
from django.test import Client as Browser
from django.urls import reverse
from freezegun import freeze_time

from clients.messaging.actions.staff_notices import mail_staff_notices
from clients.messaging.models import StaffNotice
from clients.models import Device, User
from clients.signing_in import device_words
from tests.peer import Peer
from tests.signing_in import OWN, PASSWORD, signed_in, type_password

NOON = datetime(2026, 11, 30, 16, tzinfo=UTC)
# as RFC 9110, 10.1.5 has them; written from memory in the shape that browsers send
PHONE = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 26_0 like Mac OS X) AppleWebKit/605.1.15"
    " (KHTML, like Gecko) Version/26.0 Mobile/15E148 Safari/604.1"
)
DESK = "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 Firefox/140.0"


def is_in(browser: Any) -> bool:
    """Whether a page opens, as this browser's session stands now."""
    return bool(browser.get("/settings/").status_code == 200)


@pytest.mark.parametrize(
    ("user_agent", "words"),
    [
        (PHONE, "Safari on an iPhone"),
        (DESK, "Firefox on a Windows computer"),
        (DESK.replace("Windows NT 10.0; Win64", "Android 16"), "Firefox on an Android device"),
        (DESK.replace("Windows NT 10.0; Win64; x64", "X11; Linux"), "Firefox on a Linux computer"),
        ("", "A browser on a device"),
        ("\ud800" + "x" * 10_000, "A browser on a device"),
    ],
)
def test_a_device_is_named_in_plain_words(user_agent: str, words: str) -> None:
    assert device_words(user_agent) == words


def test_without_the_box_a_session_ends_with_the_browser_or_after_twelve_hours(
    owner: User,
) -> None:
    with freeze_time(NOON) as clock:
        browser = signed_in(owner)
        cookie = browser.cookies["sessionid"]
        assert cookie["max-age"] == cookie["expires"] == ""  # RFC 6265, 5.3: ends with the browser
        for _ in range(11):  # going on using it changes nothing
            clock.tick(timedelta(hours=1))
            assert is_in(browser)
        clock.tick(timedelta(hours=1, seconds=1))

        assert not is_in(browser)
        assert not get_user(browser).is_authenticated


def test_a_trusted_device_stays_signed_in_for_thirty_days(owner: User) -> None:
    with freeze_time(NOON) as clock:
        browser = signed_in(owner, stay="on")
        assert browser.cookies["sessionid"]["max-age"] == 30 * 24 * 3600
        clock.tick(timedelta(days=29))
        assert is_in(browser)
        clock.tick(timedelta(days=31))
        assert not is_in(browser)


def test_devices_are_listed_with_what_they_are_and_which_is_this(owner: User) -> None:
    with freeze_time(NOON):
        phone = Browser(HTTP_USER_AGENT=PHONE)
        type_password(phone, owner, stay="on")
        desk = Browser(HTTP_USER_AGENT=DESK)
        type_password(desk, owner)
    with freeze_time(NOON + timedelta(hours=1)):
        phone.get("/")
        page = desk.get(reverse("settings:signing_in")).content.decode()

    devices = page.partition("Signed in on")[2]
    # the day and the clock of the business, in Halifax
    assert "Safari on an iPhone" in devices
    assert "1:00\u202fp.m." in devices or "1:00 p.m." in devices
    assert "30 days" in devices
    assert devices.count("This one") == 1
    assert devices.index("Firefox") < devices.index("This one") < devices.index("12 hours")


def test_one_device_is_signed_out_and_the_others_stay(owner: User, crew: User) -> None:
    lost, own, of_another = signed_in(owner), signed_in(owner), signed_in(crew)
    device = Device.objects.filter(user=owner).earliest("pk")
    foreign = of_another.post(reverse("settings:end_session", args=[device.pk]), **OWN)
    assert (foreign.status_code, is_in(lost)) == (404, True)

    own.post(reverse("settings:end_session", args=[device.pk]), **OWN)

    assert [is_in(lost), is_in(own), is_in(of_another)] == [False, True, True]
    page = own.get(reverse("settings:signing_in")).content.decode()
    assert page.count("A browser on a device") == 1


def test_all_others_are_signed_out_at_once_even_those_from_before(
    owner: User, as_user: Any
) -> None:
    of_before = as_user(owner)  # a session that no device was noted for
    others = [signed_in(owner), signed_in(owner), of_before]
    own = signed_in(owner)

    own.post(reverse("settings:end_other_sessions"), **OWN)

    assert [is_in(each) for each in others] == [False, False, False]
    assert is_in(own)
    own.post(reverse("settings:end_other_sessions"), **OWN)
    assert is_in(own)


@pytest.mark.smtp
@pytest.mark.django_db(transaction=True)
def test_a_new_device_is_told_of_once_at_any_hour_and_whatever_was_chosen(
    owner: User, peer: Peer
) -> None:
    User.objects.update(email="maren@example.com", notices_by="none")
    night = NOON + timedelta(hours=10)
    with freeze_time(night):
        first = Browser(HTTP_USER_AGENT=DESK)
        type_password(first, owner)
        assert mail_staff_notices(now=night) == 0  # nobody is surprised by their very first
        first.post(reverse("sign_out"), **OWN)
        type_password(first, owner)
        assert mail_staff_notices(now=night) == 0  # known by its cookie

        type_password(Browser(HTTP_USER_AGENT=PHONE), owner)
        assert [mail_staff_notices(now=night), mail_staff_notices(now=night)] == [1, 0]

    (mail,) = peer.taken
    text = bytes(mail.content).decode()
    assert "A new device signed in to your account: Safari on an iPhone." in text
    assert "https://decks.example.com/settings/signing-in/" in text


def test_without_an_address_or_a_sender_signing_in_goes_on(owner: User) -> None:
    signed_in(owner)
    assert is_in(signed_in(owner))
    assert not StaffNotice.objects.exists()


@pytest.mark.smtp
@pytest.mark.django_db(transaction=True)
def test_a_digest_of_the_day_is_not_put_off_by_a_warning(owner: User, peer: Peer) -> None:
    User.objects.update(email="maren@example.com", notices_by="daily")
    owner.refresh_from_db()
    StaffNotice.objects.create(
        user=owner, key="a", words="x", is_urgent=True, made_at=NOON, mailed_at=NOON
    )
    StaffNotice.objects.create(user=owner, key="b", words="Ottilie asks.", made_at=NOON)

    assert mail_staff_notices(now=NOON + timedelta(hours=1)) == 1


def test_a_changed_password_is_told_of(owner: User) -> None:
    User.objects.update(email="maren@example.com")
    browser = signed_in(owner)
    new = "high tide at one"
    browser.post(
        reverse("settings:own_password"),
        {"old_password": PASSWORD, "new_password1": new, "new_password2": new},
        **OWN,
    )

    assert StaffNotice.objects.filter(words="Your password was changed.", is_urgent=True).exists()
    assert is_in(browser)
