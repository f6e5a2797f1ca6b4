"""Ready to send? Nothing real leaves before the parts are sound; the mail server is entered and
tested on a page."""

import smtplib
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone
from pytest_django import Settings

from clients.messaging import outbox
from clients.messaging.models import MailServer, Message
from clients.messaging.public_address import why_not_public
from clients.messaging.unsendable import Unsendable
from clients.models import Business
from clients.sealing import SealError, seal, unseal
from tests.business_day import today_there
from tests.confirm_page import posted_again
from tests.factories import (
    ConsentFactory,
    EmailFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
)
from tests.outbox import queued
from tests.peer import Peer

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def strict(settings: Settings) -> Settings:
    settings.BLOCK_UNREADY = True
    return settings


@pytest.mark.parametrize(
    ("url", "is_public"),
    [
        ("https://decks.example.com", True),
        ("http://127.0.0.1:8000", False),
        ("http://localhost:8000", False),
        ("http://[::1]:8000", False),
        ("http://192.168.1.20", False),  # RFC 1918, 3
        ("http://10.0.0.8:8000", False),
        ("https://office", False),
        ("https://nas.local", False),  # RFC 6762, 3
        ("decks.example.com", False),
    ],
)
def test_an_address_that_only_this_house_can_open_is_none_for_clients(
    url: str, is_public: bool
) -> None:
    assert (why_not_public(url) == "") is is_public


@pytest.mark.smtp
def test_the_first_message_waits_for_a_test_mail_and_then_goes(
    as_owner: Browser, business: Business, strict: Settings, peer: Peer
) -> None:
    with pytest.raises(Unsendable, match=r"Not ready to send\. Mail server:"):
        queued(1)
    assert (
        "No e-mail and no text message leaves" in as_owner.get("/settings/ready/").content.decode()
    )

    answer = as_owner.post("/settings/mail-server/test/", {"to": "maren@example.com"}, follow=True)

    assert "took the test mail to maren@example.com" in answer.content.decode()
    assert len(peer.taken) == 1
    queued(2)
    assert outbox.deliver().accepted == 1
    Business.objects.update(mail_tested_with="")
    queued(3)  # after the first message another server needs no new test


def test_a_link_to_this_machine_never_gets_into_a_mail(
    business: Business, strict: Settings, as_owner: Browser
) -> None:
    Business.objects.update(mail_tested_with=f"{strict.EMAIL_HOST}:{strict.EMAIL_PORT}")
    queued(1)
    Message.objects.update(state="accepted", accepted_at=timezone.now())
    strict.BASE_URL = "http://127.0.0.1:8000"

    with pytest.raises(Unsendable, match="which no client can open"):
        queued(2)


def test_the_page_that_asks_names_what_is_missing_and_has_no_button(
    as_owner: Browser, business: Business, strict: Settings
) -> None:
    today = today_there()
    offer = OfferFactory(drafted_on=today, valid_until=today + timedelta(days=30))
    OfferLineFactory(offer=offer, scope=OfferScopeFactory(offer=offer))
    EmailFactory(client=offer.client)
    ConsentFactory(client=offer.client)

    asked = as_owner.post("/offers/send/", {"offer": [offer.pk]})
    page = asked.content.decode()
    stubborn = as_owner.post("/offers/send/", posted_again(asked), follow=True).content.decode()

    assert "Not ready to send" in page
    assert "Send 1 offer</button>" not in page
    assert "has not taken a test mail yet" in stubborn
    offer.refresh_from_db()
    assert offer.state == "draft"
    assert not Message.objects.exists()


def entered(**over: Any) -> dict[str, Any]:
    values = {"host": "mail.example.com", "port": 587, "security": "starttls"}
    return values | {"username": "office", "password": "tide and wind"} | over


def test_the_password_is_kept_sealed_and_never_shown(as_owner: Browser, business: Business) -> None:
    as_owner.post("/settings/mail-server/", entered())

    kept = MailServer.objects.get()
    assert "tide" not in kept.password_sealed
    assert kept.password == "tide and wind"
    page = as_owner.get("/settings/mail-server/").content.decode()
    assert "tide and wind" not in page
    assert kept.password_sealed not in page
    as_owner.post("/settings/mail-server/", entered(password="", port=2525))
    kept.refresh_from_db()
    assert (kept.password, kept.port) == ("tide and wind", 2525)
    as_owner.post("/settings/mail-server/", entered(username="", password=""))
    kept.refresh_from_db()
    assert kept.password_sealed == ""


def test_a_password_goes_over_no_open_line(as_owner: Browser, business: Business) -> None:
    page = as_owner.post("/settings/mail-server/", entered(security="none"))

    assert "the password would travel readable" in page.content.decode()
    assert not MailServer.objects.exists()


@pytest.mark.smtp
def test_the_outbox_goes_by_the_server_of_the_page_unless_the_environment_names_one(
    as_owner: Browser, business: Business, peer: Peer, settings: Settings
) -> None:
    port = settings.EMAIL_PORT
    settings.EMAIL_PORT = 1
    open_line = entered(host="127.0.0.1", port=port, security="none", username="", password="")
    as_owner.post("/settings/mail-server/", open_line)
    queued(1)
    assert outbox.deliver().accepted == 1

    settings.EMAIL_FROM_ENVIRONMENT = True
    queued(2)
    assert outbox.deliver().accepted == 0
    assert (
        "Set where the program is started"
        in as_owner.get("/settings/mail-server/").content.decode()
    )
    as_owner.post("/settings/mail-server/", entered(host="other.example.com"))
    assert MailServer.objects.get().host == "127.0.0.1"


def test_another_key_opens_nothing_and_the_queue_waits(
    business: Business, settings: Settings
) -> None:
    MailServer.objects.create(
        id=1, host="mail.example.com", username="office", password_sealed=seal("tide")
    )
    queued(1)
    settings.SECRET_KEY = "another key, as long as it has to be for signing"

    tally = outbox.deliver()

    assert "sealed with another key" in tally.line_down[0]
    assert Message.objects.get().state == "queued"


def test_a_sealed_secret_opens_again_differs_each_time_and_takes_no_change() -> None:
    once, again = seal("tide and wind, é"), seal("tide and wind, é")

    assert once != again
    assert unseal(once) == unseal(again) == "tide and wind, é"
    assert (seal(""), unseal("")) == ("", "")
    for spoiled in (once[:-6] + "AAAAA=", "A" * len(once), "?"):
        with pytest.raises(SealError):
            unseal(spoiled)


def test_a_refused_test_mail_says_what_the_server_said(
    as_owner: Browser, business: Business, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Any, *args: Any, **kwargs: Any) -> None:
        raise smtplib.SMTPAuthenticationError(535, b"5.7.8 wrong password")

    monkeypatch.setattr("django.core.mail.EmailMessage.send", refuse)

    answer = as_owner.post("/settings/mail-server/test/", {"to": "maren@example.com"}, follow=True)

    assert "wrong password" in answer.content.decode()
    business.refresh_from_db()
    assert business.mail_tested_with == ""
