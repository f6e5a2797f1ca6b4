"""What a person sends is looked at once, waits, and can be taken back: reminders, offers and what
is said about bookings, down to a real mail server."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db.models import F
from django.test import Client as Browser
from django.utils import timezone
from pytest_django import Settings

from clients.messaging import outbox
from clients.messaging.models import Message, Sending, SendingRules
from clients.models import Deck, User
from jobs.actions import bookings
from jobs.models import Booking, Offer
from reminders.models import Reminder
from tests.business_day import today_there
from tests.confirm_page import posted_again
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
    PhoneFactory,
    ReminderStepFactory,
)
from tests.jobs.diary_days import book_visit
from tests.peer import Peer, running_peer

pytestmark = pytest.mark.django_db


@pytest.fixture
def peer(settings: Settings) -> Iterator[Peer]:
    with running_peer() as running:
        settings.EMAIL_HOST = "127.0.0.1"
        settings.EMAIL_PORT = running.port
        yield running


@pytest.fixture
def two_clients(coated: Callable[..., Deck]) -> list[Deck]:
    """Two clients with a deck each, who hear by e-mail or not at all."""
    ReminderStepFactory(number=1, channels=["email"])
    decks = []
    for name in ("Ottilie Saltonby", "Thaddeus Kelpworth"):
        client = ClientFactory(name=name)
        EmailFactory(client=client)
        ConsentFactory(client=client)
        decks.append(coated(client=client))
    return decks


def ask(browser: Browser, decks: list[Deck]) -> Any:
    fields = {"month": "2027-06", "deck": [deck.pk for deck in decks], "at_once": "yes"}
    return browser.post("/due/remind/", fields)


def send(browser: Browser, decks: list[Deck], **without: Any) -> Any:
    fields = posted_again(ask(browser, decks), **without)
    return browser.post("/due/remind/", fields, follow=True)


def take_back(browser: Browser) -> str:
    sending = Sending.objects.latest("pk")
    answer = browser.post(f"/outbox/sent/{sending.pk}/take-back/", {"back": "/due/"}, follow=True)
    return str(answer.content.decode())


def let_time_pass() -> None:
    """The time is over in which it can be taken back."""
    Message.objects.filter(state="queued").update(not_before=timezone.now() - timedelta(seconds=1))
    Sending.objects.update(at=F("at") - timedelta(hours=1), held_until=F("at"))


@pytest.mark.smtp
@pytest.mark.django_db(transaction=True)
def test_what_was_taken_back_reaches_no_mail_server_and_can_be_sent_again(
    as_owner: Browser, two_clients: list[Deck], peer: Peer
) -> None:
    page = send(as_owner, two_clients).content.decode()
    assert "Sent to 2 (2 mailed)." in page
    assert outbox.deliver().total == 0

    said = take_back(as_owner)
    let_time_pass()

    assert "Taken back: 2. None of these goes out." in said
    assert "Take back</button>" not in said
    assert (outbox.deliver().total, peer.taken) == (0, [])
    assert not Reminder.objects.exists()
    assert set(Message.objects.values_list("state", flat=True)) == {"cancelled"}

    send(as_owner, two_clients)
    let_time_pass()
    assert outbox.deliver().accepted == 2
    assert len(peer.taken) == 2
    assert Reminder.objects.count() == 2


@pytest.mark.smtp
@pytest.mark.django_db(transaction=True)
def test_what_has_left_is_said_and_stays(
    as_owner: Browser, two_clients: list[Deck], peer: Peer
) -> None:
    send(as_owner, two_clients)
    first = Message.objects.order_by("pk")[0]
    Message.objects.filter(pk=first.pk).update(not_before=timezone.now())
    assert outbox.deliver().accepted == 1

    said = take_back(as_owner)
    again = take_back(as_owner)

    assert "Taken back: 1." in said
    assert "1 had left already and cannot be taken back." in said
    assert "Taken back:" not in again
    assert Reminder.objects.get().message_id == first.pk
    assert len(peer.taken) == 1


def test_whose_tick_is_taken_gets_nothing(as_owner: Browser, two_clients: list[Deck]) -> None:
    send(as_owner, two_clients, without=["Thaddeus Kelpworth"])

    assert Message.objects.get().client.name == "Ottilie Saltonby"
    assert Reminder.objects.get().deck == two_clients[0]


def test_what_nobody_pressed_is_not_held(two_clients: list[Deck], as_owner: Browser) -> None:
    SendingRules.objects.create(id=1, take_back_minutes=0)

    page = send(as_owner, two_clients).content.decode()

    assert "Sent: 2 mailed." in page
    assert "Take back</button>" not in page
    assert Message.objects.due("email").count() == 2


def test_letters_are_ready_to_print_and_do_not_leave_by_themselves(
    as_owner: Browser, coated: Callable[..., Deck]
) -> None:
    ReminderStepFactory(number=1, channels=["letter"])
    page = send(as_owner, [coated()]).content.decode()

    assert "Sent to 1 (1 to print). Ready to print at <time" in page
    assert "It leaves at" not in page


def test_the_page_says_why_it_is_a_letter_and_what_they_had_a_moment_ago(
    as_owner: Browser, coated: Callable[..., Deck]
) -> None:
    client = ClientFactory(name="Young, Jack")
    EmailFactory(client=client)
    first, second = coated(client=client), coated(client=client)
    SendingRules.objects.create(id=1, days_between=0)
    ReminderStepFactory(number=1, channels=["email", "letter"])
    send(as_owner, [first])
    Message.objects.update(queued_at=timezone.now() - timedelta(minutes=3))

    # two, for what was sent before midnight leaves after it if it can still be taken back
    SendingRules.objects.update(days_between=2)
    (row,) = ask(as_owner, [second]).context["page"].rows
    assert row.warnings == ["Had a reminder 3\xa0minutes ago."]
    assert row.goes  # the rule puts it off

    SendingRules.objects.update(days_between=0)
    (row,) = ask(as_owner, [second]).context["page"].rows
    assert row.channel == "letter"
    assert "There is no consent on record." in row.passed_over
    assert "Hello Jack Young" in row.text


@pytest.fixture
def draft(business: Any) -> Offer:
    offer: Offer = OfferFactory(
        drafted_on=today_there(), valid_until=today_there() + timedelta(days=30)
    )
    scope = OfferScopeFactory(offer=offer)
    OfferLineFactory(offer=offer, scope=scope)
    EmailFactory(client=offer.client, value="marlow@example.org")
    ConsentFactory(client=offer.client)
    return offer


def test_an_offer_that_is_taken_back_is_a_draft_and_its_link_leads_nowhere(
    as_owner: Browser, draft: Offer
) -> None:
    asked = as_owner.post("/offers/send/", {"offer": [draft.pk]})
    as_owner.post("/offers/send/", posted_again(asked))
    draft.refresh_from_db()
    link = Message.objects.get().text.partition("/o/")[2].split()[0].rstrip("/.")
    assert draft.state == "open"
    assert as_owner.get(f"/o/{link}/").status_code == 200

    take_back(as_owner)

    draft.refresh_from_db()
    assert (draft.state, draft.token_hash, draft.sent_at) == ("draft", None, None)
    assert as_owner.get(f"/o/{link}/").status_code == 404
    assert "Taken back before it left" in as_owner.get(f"/offers/{draft.pk}/").content.decode()
    asked = as_owner.post("/offers/send/", {"offer": [draft.pk]})
    as_owner.post("/offers/send/", posted_again(asked))
    assert Message.objects.filter(state="queued").count() == 1


def test_an_offer_soon_after_another_word_begins_without_a_tick(
    as_owner: Browser, draft: Offer, owner: User
) -> None:
    other = OfferFactory(
        site=draft.site,
        drafted_on=today_there(),
        valid_until=today_there() + timedelta(days=30),
    )
    OfferLineFactory(offer=other, scope=OfferScopeFactory(offer=other))

    first, second = (
        as_owner.post("/offers/send/", {"offer": [draft.pk, other.pk]}).context["page"].rows
    )
    assert (first.is_ticked, second.is_ticked) == (True, False)
    assert "Gets another offer with this one." in second.warnings[0]

    asked = as_owner.post("/offers/send/", {"offer": [draft.pk]})
    as_owner.post("/offers/send/", posted_again(asked))
    Message.objects.update(queued_at=timezone.now() - timedelta(minutes=3))
    (row,) = as_owner.post("/offers/send/", {"offer": [other.pk]}).context["page"].rows
    assert row.is_ticked is False
    assert "Had an offer 3\xa0minutes ago." in row.warnings[0]
    assert "Your rule leaves 7 days between two messages" in row.warnings[0]


def rainy_bookings() -> list[Booking]:
    """Three visits of tomorrow week that were agreed by telephone: by e-mail, by phone, neither."""
    CrewFactory(hours_a_day=24, works_on=[1, 2, 3, 4, 5, 6, 7])
    day = today_there() + timedelta(days=8)
    made = []
    for name in ("Ottilie Saltonby", "Thaddeus Kelpworth", "Vivian Northquay"):
        deck = DeckFactory(site__client__name=name)
        made.append(
            book_visit(
                site=deck.site,
                decks=[deck],
                hours=Decimal(2),
                first_day=day,
                on_any_day=True,
                now=timezone.now(),
                notify_client=False,
            )
        )
    EmailFactory(client=made[0].client)
    PhoneFactory(client=made[1].client, value="902-555-0142")
    return made


def test_a_rainy_day_says_before_and_after_who_is_told_how(as_owner: Browser, owner: User) -> None:
    mailed, phoned, mute = rainy_bookings()
    fields = {"day": mailed.first_on.isoformat(), "crew": "", "why": "Rain.", "notify_client": "on"}

    asked = as_owner.post("/diary/hold-day/", fields)

    page = asked.context["page"]
    assert [(row.client, row.channel) for row in page.rows] == [
        ("Ottilie Saltonby", "email"),
        ("Thaddeus Kelpworth", "call"),
    ]
    assert "E-mail: There is no e-mail address." in page.rows[1].passed_over
    assert "Vivian Northquay" in page.notes[0]
    assert not Message.objects.exists()
    assert not Booking.objects.filter(state="held").exists()

    done = as_owner.post("/diary/hold-day/", posted_again(asked), follow=True)

    said = [str(message) for message in done.context["messages"]]
    assert len(said) == 1
    assert "held for the weather. 1 mailed, 1 to phone." in said[0]
    assert "No message goes to Vivian Northquay: tell them yourself." in said[0]
    assert mute.client.to_dos.get().kind == "tell"
    let_time_pass()
    assert phoned.client.name in as_owner.get("/outbox/calls/").content.decode()


def test_a_booking_whose_message_was_taken_back_is_untold_and_can_be_told(
    as_owner: Browser, owner: User
) -> None:
    booking = rainy_bookings()[0]
    bookings.hold_booking(booking=booking, why="Rain.", by=owner, now=timezone.now())
    take_back(as_owner)

    page = as_owner.get(f"/diary/{booking.pk}/").content.decode()
    assert "No message tells Ottilie Saltonby how this booking is now." in page

    asked = as_owner.post(f"/diary/{booking.pk}/tell/")
    assert not Message.objects.filter(state="queued").exists()
    as_owner.post(f"/diary/{booking.pk}/tell/", posted_again(asked))
    message = Message.objects.get(state="queued")
    assert "is postponed by the weather" in message.subject


def test_leaving_one_out_holds_the_booking_and_tells_the_others(as_owner: Browser) -> None:
    mailed, _phoned, _mute = rainy_bookings()
    fields = {"day": mailed.first_on.isoformat(), "crew": "", "why": "Rain.", "notify_client": "on"}
    asked = as_owner.post("/diary/hold-day/", fields)

    as_owner.post("/diary/hold-day/", posted_again(asked, without=["Ottilie Saltonby"]))

    assert Booking.objects.filter(state="held").count() == 3
    assert Message.objects.get().channel == "call"
