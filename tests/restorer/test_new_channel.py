"""The recipe “Add a channel” of DEVELOPERS.md holds: with those places written, everything else
knows the channel; with one of them left out, somebody is told."""

import re
from collections.abc import Callable, Iterator
from datetime import date, time, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.db import IntegrityError
from django.db.models.functions import Now
from django.test import Client as Browser
from freezegun import freeze_time

from clients.messaging import channels, law, outbox, texts
from clients.messaging.channels.transport import TransportDownError
from clients.messaging.models import Message, MessageText, SendingRules
from clients.messaging.reach import ContactPurpose, Refusal, route_to
from clients.messaging.texts.standard import missing_texts, standard_wording
from clients.models import Business, Client, Deck
from clients.models.channel import CHANNEL_TRAITS, Channel
from jobs.actions import offer_sending
from restorer import catalogue
from tests.factories import (
    CoatFactory,
    ConsentFactory,
    PhoneFactory,
    PropertyFactory,
    ReminderStepFactory,
)
from tests.jobs.offer_book import deck, drafted, price_list
from tests.new_channel import PAGER, add_channel
from tests.outbox import queued
from tests.paper_line import PaperLine
from tests.reminders.conftest import NOW, TODAY, coated, due, remind

__all__ = ["coated", "due"]
NAMES_A_CHANNEL = re.compile(r"\bChannel\.[A-Z]+\b")
COMPARES_ITS_VALUE = re.compile(r"\b(channel|medium) [!=]= \"(email|text|letter|call)\"")
MOST_MODULES = 12


@pytest.fixture
def patch() -> Iterator[pytest.MonkeyPatch]:
    with pytest.MonkeyPatch.context() as patched:
        yield patched
    standard_wording.cache_clear()


@pytest.fixture
def pager(db: None, patch: pytest.MonkeyPatch) -> PaperLine:
    return add_channel(patch)


@pytest.fixture
def owner_of_pager(pager: PaperLine, business: Business) -> Client:
    """Agreed to be paged."""
    client: Client = PhoneFactory(value="902-555-0142").client
    ConsentFactory(client=client, channel=PAGER)
    return client


@pytest.fixture
def paged_deck(owner_of_pager: Client, due: Callable[..., Deck]) -> Deck:
    ReminderStepFactory(number=1, channels=[PAGER])
    return due(client=owner_of_pager)


def deliver_at_noon() -> None:
    """What is queued has waited long enough by the database's clock, too."""
    Message.objects.update(not_before=Now() - timedelta(hours=1), expires_at=None)
    with freeze_time(NOW):
        outbox.deliver(deadline_seconds=2)


def lacking_places() -> list[str]:
    """What a channel lacks that the program is to know."""
    found = [f"{each}: traits" for each in Channel if each not in CHANNEL_TRAITS]
    for channel in set(Channel) & set(CHANNEL_TRAITS):
        if bool(CHANNEL_TRAITS[channel].machine) != (channel in channels.TRANSPORTS):
            found.append(f"{channel}: transport")
        law.rule_for(sender_country="", recipient_country="", channel=channel, on=TODAY)
    return found or [f"{each}: text" for each in missing_texts()]


def modules_with(pattern: re.Pattern[str], *kinds: str) -> list[str]:
    paths = [path for app in catalogue.APPS for kind in kinds for path in Path(app).rglob(kind)]
    return sorted(
        path.as_posix()
        for path in paths
        if "migrations" not in path.parts and pattern.search(path.read_text(encoding="utf-8"))
    )


@pytest.mark.django_db
def test_every_channel_has_traits_a_transport_texts_and_a_law() -> None:
    assert lacking_places() == []


def test_code_asks_for_a_trait_instead_of_naming_a_channel(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(settings.BASE_DIR)

    assert len(modules_with(NAMES_A_CHANNEL, "*.py")) <= MOST_MODULES
    assert modules_with(COMPARES_ITS_VALUE, "*.py", "*.html") == []


@pytest.mark.django_db
@pytest.mark.parametrize("place", ["traits", "transport", "texts"])
def test_a_place_that_was_forgotten_is_named(patch: pytest.MonkeyPatch, place: str) -> None:
    add_channel(patch, but_for=place)

    assert lacking_places()
    assert all(PAGER in each and place.rstrip("s") in each for each in lacking_places())


@pytest.mark.django_db
def test_without_its_migration_the_database_refuses_it(
    patch: pytest.MonkeyPatch, business: Business
) -> None:
    add_channel(patch, but_for="migration")

    with pytest.raises(IntegrityError, match="channel_known"):
        ConsentFactory(channel=PAGER)


def test_a_reminder_goes_out_by_it_and_stands_in_the_outbox(
    pager: PaperLine, paged_deck: Deck, as_owner: Browser
) -> None:
    assert lacking_places() == []
    (message,) = remind(paged_deck).queued
    deliver_at_noon()

    message.refresh_from_db()
    assert pager.handed_over == ["+19025550142"]
    assert (message.channel, message.state) == (PAGER, "accepted")
    assert message.law.startswith("CA pager of ")
    assert "Reply STOP to end." in message.text
    assert ">Pager</td>" in as_owner.get("/outbox/").content.decode()
    assert "<dd>Pager</dd>" in as_owner.get(f"/outbox/{message.pk}/").content.decode()
    assert "by pager" in as_owner.get(f"/clients/{message.client_id}/").content.decode()


def test_it_keeps_quiet_hours(pager: PaperLine, paged_deck: Deck) -> None:
    SendingRules.objects.create(id=1, quiet_from=time(10), quiet_until=time(14))
    (message,) = remind(paged_deck).queued
    assert message.not_before >= NOW + timedelta(hours=3)  # NOW is eleven in the morning there

    deliver_at_noon()

    message.refresh_from_db()
    assert (pager.handed_over, message.state) == ([], "queued")
    assert message.not_before == NOW + timedelta(hours=3)


def test_nobody_is_reached_by_it_without_consent(pager: PaperLine, paged_deck: Deck) -> None:
    ConsentFactory(client=paged_deck.site.client, channel=PAGER, is_given=False)

    result = remind(paged_deck)

    assert result.queued == []
    assert [each.why for each in result.left_out] == ["The client withdrew consent."]


def test_a_withdrawal_after_it_was_queued_has_the_last_word(
    pager: PaperLine, paged_deck: Deck
) -> None:
    (message,) = remind(paged_deck).queued
    ConsentFactory(client=message.client, channel=PAGER, is_given=False)

    deliver_at_noon()

    message.refresh_from_db()
    assert (pager.handed_over, message.state) == ([], "cancelled")


def test_consent_to_it_is_asked_for_and_taken_back_on_the_pages(
    owner_of_pager: Client, as_owner: Browser
) -> None:
    job = CoatFactory(
        job__finished_on=date(2026, 6, 12),
        job__deck__site=PropertyFactory(client=owner_of_pager),
    ).job
    box = "Driftline Deck Care may page me at (902) 555-0142."
    assert box in as_owner.get(f"/jobs/{job.pk}/sign-off/").content.decode()

    answer = as_owner.post(
        f"/clients/{owner_of_pager.pk}/consent/",
        {"channel": PAGER, "is_given": "no", "basis": "express"},
    )

    assert answer.status_code == 302
    assert not owner_of_pager.consents.first().is_given
    refusal = route_to(owner_of_pager, PAGER, ContactPurpose.MARKETING, on=TODAY)
    assert isinstance(refusal, Refusal)


def test_an_offer_goes_by_it(owner_of_pager: Client) -> None:
    price_list()
    offer = drafted(deck(site=PropertyFactory(client=owner_of_pager)))

    with freeze_time(NOW):
        message = offer_sending.send_offer(offer=offer, channel=PAGER, by=None, now=NOW)

    assert (message.channel, message.address) == (PAGER, "+19025550142")
    assert message.attachments.count() == 0
    assert offer.events.filter(note="By pager to +19025550142").exists()


def test_its_texts_law_and_steps_are_on_the_pages_of_settings(
    pager: PaperLine, as_owner: Browser
) -> None:
    pages = {
        "/settings/texts/": "Pager</a>",
        f"/settings/texts/first/{PAGER}/fr/": "<h1>First reminder: pager</h1>",
        "/settings/law/": "<summary>Pager ",
        f"/settings/law/CA/{PAGER}/": "Monday to Friday, from",
        "/reminders/rules/": f'<option value="{PAGER}"',
    }
    for address, words in pages.items():
        assert words in as_owner.get(address).content.decode(), address


def test_its_texts_must_say_how_to_hear_no_more(pager: PaperLine) -> None:
    for purpose in MessageText.Purpose:
        is_marketing = purpose in {"first", "overdue", "second", "last", "offer"}
        assert ("stop_line" in texts.fields_of(purpose, PAGER)) == is_marketing
    with pytest.raises(texts.TextProblem, match=r"must hold \{stop_line\}"):
        texts.check_wording(purpose="first", channel=PAGER, subject="", body="{greeting}")


def test_an_address_that_is_none_is_refused(owner_of_pager: Client) -> None:
    with pytest.raises(outbox.Unsendable, match="not one telephone number"):
        queued(1, client=owner_of_pager, channel=PAGER, address="ottilie@example.org")


def test_the_outbox_says_that_its_machine_is_away(
    pager: PaperLine, paged_deck: Deck, as_owner: Browser, patch: pytest.MonkeyPatch
) -> None:
    def refuse() -> None:
        raise TransportDownError("nobody there")

    remind(paged_deck)
    patch.setattr(pager, "connect", refuse)
    deliver_at_noon()

    with freeze_time(NOW):
        page = as_owner.get("/outbox/").content.decode()
    assert "The paging network cannot be reached." in page
    assert "nobody there" in page
