"""Putting messages into the outbox: once for a key, frozen, and refused with a reason when they
cannot be sent."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from clients.messaging import message_keys, outbox, suppression
from clients.messaging.models import Message
from clients.messaging.outbox import Unsendable
from clients.messaging.reach import ContactPurpose, Refusal, Route, route_to
from clients.models import Business
from tests.factories import ClientFactory, ConsentFactory, EmailFactory, PropertyFactory
from tests.outbox import SENDER, outgoing_message, queue_test_message, queued

pytestmark = pytest.mark.usefixtures("business")
TODAY = date(2026, 5, 4)


def test_the_same_key_is_queued_once() -> None:
    first = queued(1)
    outgoing = outgoing_message(
        client=first.client,
        kind="reminder",
        channel="email",
        address=first.address,
        subject="Other words",
        text=SENDER + "{unsubscribe_url}",
        key="due/1",
    )
    again, is_new = outbox.queue_message(outgoing=outgoing, now=timezone.now())
    assert (again.pk, is_new) == (first.pk, False)
    assert again.subject == "Your deck is due this spring"
    assert [event.state for event in again.events.all()] == ["queued"]


def test_queueing_is_undone_with_the_decision() -> None:
    def decide() -> None:
        with transaction.atomic():
            queued(1)
            raise KeyError("a change of mind")

    with pytest.raises(KeyError):
        decide()
    assert not Message.objects.exists()


def test_the_link_is_put_into_text_and_html_and_only_its_hash_is_stored() -> None:
    message = queued(1, html='<p><a href="{unsubscribe_url}">Stop</a></p>')
    link = message_keys.unsubscribe_link(Business.objects.get(), message)
    token = link.rstrip("/").rpartition("/")[2]
    assert link.startswith("https://decks.example.com/u/")
    assert link in message.text
    assert link in message.html
    assert message.unsubscribe_hash == message_keys.token_hash(token)
    assert (
        len(token) * 6 >= 128
    )  # bits: RFC 8058, 3.1 asks for an opaque part that is hard to forge


def test_ids_are_the_same_on_every_host_and_other_for_another_business() -> None:
    one = Business(sender_email="a@example.com")
    other = Business(sender_email="a@example.com")
    twin = Business(sender_email="a@example.com", suppression_key=one.suppression_key)
    assert message_keys.make_message_id(one, "due/1") == message_keys.make_message_id(twin, "due/1")
    assert message_keys.make_message_id(one, "due/1") != message_keys.make_message_id(
        other, "due/1"
    )
    assert message_keys.unsubscribe_token(one, "due/1") != message_keys.unsubscribe_token(
        other, "due/1"
    )


@pytest.mark.parametrize(
    ("over", "word"),
    [
        ({"subject": "Your deck\r\nBcc: all@example.org"}, "one line"),
        ({"subject": "x" * 301}, "301 characters"),
        ({"subject": " "}, "subject"),
        ({"text": "no link"}, "unsubscribe_url"),
        ({"text": " \n"}, "no text"),
        ({"text": "{unsubscribe_url}\x00"}, "no text"),
        ({"text": "{unsubscribe_url}" + "x" * 100_000}, "longer"),
    ],
)
def test_what_cannot_be_sent_is_refused_with_the_reason(over: dict[str, Any], word: str) -> None:
    with pytest.raises(Unsendable, match=word):
        queued(1, **over)
    assert not Message.objects.exists()


@pytest.mark.parametrize(
    "address",
    [
        "a@example.org,b@example.org",
        "a@example.org b@example.org",
        "<a@example.org>",
        "a@example.org\nBcc: b@example.org",
        "nobody",
        "a@",
        "@example.org",
        "a@exam ple.org",
        "a@b@example.org",
        "x" * 250 + "@example.org",
    ],
)
def test_an_address_that_is_not_exactly_one_is_refused(address: str) -> None:
    client = ClientFactory()
    with pytest.raises(Unsendable, match="not one e-mail address"):
        queue_test_message(
            client=client,
            kind="reminder",
            channel="email",
            address=address,
            subject="s",
            text="{unsubscribe_url}",
            key="k",
        )


@pytest.mark.parametrize(
    ("over", "word"),
    [
        ({"channel": "text", "address": "902-555-0100"}, "international form"),
        ({"channel": "text", "address": "+19025550100 +19025550101"}, "international form"),
        ({"channel": "text", "address": "+19025550100", "text": "a" * 1531}, "11 parts"),
        ({"channel": "call", "address": "nobody"}, "international form"),
        ({"channel": "letter", "address": "7 Gull Road\x00"}, "postal address"),
        ({"attachments": [("a/b.pdf", "application/pdf", b"")]}, "name of an attachment"),
        ({"attachments": [("a\r\nBcc: x", "application/pdf", b"")]}, "name of an attachment"),
        ({"attachments": [("a.pdf", "application/pdf\r\nBcc: x", b"")]}, "media type"),
        ({"attachments": [("a.pdf", "application/pdf", b"x" * 7_000_001)]}, "7,000,001 bytes"),
        (
            {"channel": "text", "address": "+19025550100", "attachments": [("a", "text/x", b"")]},
            "Only an e-mail",
        ),
    ],
)
def test_every_way_and_every_file_is_checked_before_queueing(
    over: dict[str, Any], word: str, caplog: pytest.LogCaptureFixture
) -> None:
    values = {
        "client": ClientFactory(),
        "kind": "service",
        "channel": "email",
        "address": "a@example.org",
        "subject": "s",
        "text": "We come on Tuesday.",
        "key": "k",
    }
    with pytest.raises(Unsendable, match=word):
        queue_test_message(**(values | over))
    assert not Message.objects.exists()
    assert "Not queued (k)" in caplog.text


@pytest.mark.parametrize(
    "address", ["zoë@example.org", "a@bücher.example.org", "o'hara+deck@example.org"]
)
def test_addresses_of_every_alphabet_are_taken(address: str) -> None:
    queue_test_message(
        client=ClientFactory(),
        kind="reminder",
        channel="email",
        address=address,
        subject="s",
        text=SENDER + "{unsubscribe_url}",
        key="k",
    )
    assert Message.objects.get().address == address


def marketing_route(client: Any, channel: str) -> Route | Refusal:
    return route_to(client, channel, ContactPurpose.MARKETING, on=TODAY)


def test_a_client_with_consent_and_address_may_be_written_to() -> None:
    point = EmailFactory(value="Ines@Example.org")
    consent = ConsentFactory(client=point.client)
    found = marketing_route(point.client, "email")
    assert isinstance(found, Route)
    assert found.address == "Ines@Example.org"
    assert (found.permission.basis, found.permission.consent()) == ("express", consent)


def test_each_thing_that_forbids_writing_is_told_in_words() -> None:
    def why(client: Any) -> str:
        found = marketing_route(client, "email")
        assert isinstance(found, Refusal)
        return found.why

    assert "no consent" in why(EmailFactory().client)
    assert "no e-mail address" in why(ConsentFactory().client)
    ran_out = EmailFactory().client
    ConsentFactory(client=ran_out, expires_on=TODAY - timedelta(days=1))
    assert "2026-05-03" in why(ran_out)
    withdrawn = EmailFactory().client
    ConsentFactory(client=withdrawn)
    ConsentFactory(client=withdrawn, is_given=False)
    assert "withdrew" in why(withdrawn)
    suspended = EmailFactory(suspended_at=timezone.now(), suspended_why="Bounced twice").client
    ConsentFactory(client=suspended)
    assert "Bounced twice" in why(suspended)
    archived = ClientFactory(archived_at=timezone.now())
    assert "archived" in why(archived)


def test_a_suppressed_address_stays_so_for_another_client_and_another_spelling() -> None:
    business = Business.objects.get()
    suppression.suppress_address(
        business=business, channel="email", address="zoe@bücher.example", reason="asked"
    )
    suppression.suppress_address(
        business=business, channel="email", address="zoe@bücher.example", reason="asked again"
    )
    point = EmailFactory(value=" ZOE@xn--bcher-kva.example", normalized="zoe@xn--bcher-kva.example")
    ConsentFactory(client=point.client)
    found = marketing_route(point.client, "email")
    assert found == Refusal("This address asked not to be written to.")
    assert suppression.unsuppress_address(
        business=business, channel="email", address="zoe@bücher.example"
    )
    assert isinstance(marketing_route(point.client, "email"), Route)


def test_letters_go_to_the_postal_address_or_to_the_deck() -> None:
    home = PropertyFactory(street="7 Gull Road", postcode="B0J 2C0")
    ConsentFactory(client=home.client, channel="letter")
    found = marketing_route(home.client, "letter")
    assert isinstance(found, Route)
    assert found.address == "7 Gull Road, Lunenburg, Nova Scotia, B0J 2C0, CA"
