"""Structure check with a defects report: written by the crew, read by the client, seen wherever
work on that deck is planned."""

import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime
from io import BytesIO
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils.html import escape
from freezegun import freeze_time
from PIL import Image

from clients.messaging import outbox
from clients.messaging.models import Message, ToDo
from clients.models import Deck, User
from jobs.actions import structure as actions
from jobs.models import Booking, Defect, Photo, StructureCheck
from jobs.offers import links
from jobs.pdf import structure_report_pdf
from jobs.scope import propose_scope
from tests.factories import (
    ClientFactory,
    CoatFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
)
from tests.jobs.sent_offers import NOW, page_of, sent_offer

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Browser]
PATH = "/jobs/structure/"


@pytest.fixture(autouse=True)
def _monday() -> Iterator[None]:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


@pytest.fixture
def deck(business: Any) -> Deck:
    client = ClientFactory(name="Ottilie Saltonby")
    EmailFactory(client=client)
    deck: Deck = DeckFactory(site__client=client, label="Back deck")
    return deck


def picture() -> BytesIO:
    held = BytesIO()
    Image.new("RGB", (640, 480), "#8d6f52").save(held, "JPEG")
    held.seek(0)
    held.name = "post.jpg"
    return held


def write(browser: Browser, deck: Deck, **values: Any) -> Any:
    typed = {
        "deck": deck.pk,
        "kind": "railing",
        "severity": "1",
        "place": "at the stairs",
        "words": "Two posts move.",
        "checked_on": "2027-05-10",
        "checked_by": "Tern crew",
        "form_key": str(uuid.uuid4()),
    }
    return browser.post(PATH, typed | values)


def found(deck: Deck, **values: Any) -> Defect:
    check = StructureCheck.objects.create(deck=deck, checked_on=date(2027, 5, 9))
    values = {"kind": "railing", "severity": "1", "place": "at the stairs", **values}
    defect: Defect = Defect.objects.create(structure_check=check, **values)
    return defect


def test_the_crew_writes_a_defect_with_its_photograph_and_the_office_hears_of_it(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    answer = write(as_user(crew), deck, photos=picture())

    defect = Defect.objects.get()
    assert answer.url == f"{PATH}{defect.structure_check_id}/"
    assert defect.is_dangerous
    assert defect.photos.get().deck == deck
    to_do = ToDo.objects.get()
    assert to_do.kind == ToDo.Kind.DEFECT
    assert "Loose railing: at the stairs" in to_do.words


def test_defects_of_one_day_make_one_report_until_the_client_has_it(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    browser = as_user(crew)
    write(browser, deck)
    write(browser, deck, kind="rot", severity="2", place="third joist")
    assert StructureCheck.objects.count() == 1

    StructureCheck.objects.update(told_at=datetime(2027, 5, 10, 11, tzinfo=UTC))
    write(browser, deck, kind="rot", severity="3", place="fourth joist")

    assert StructureCheck.objects.count() == 2


def test_a_look_that_found_nothing_is_kept_and_a_form_sent_twice_counts_once(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    browser = as_user(crew)
    empty = {"kind": "", "severity": "", "place": "", "words": "", "form_key": str(uuid.uuid4())}
    write(browser, deck, **empty)
    write(browser, deck, **empty)

    assert StructureCheck.objects.get().defects.count() == 0
    assert "nothing open" in page_of(browser, f"/decks/{deck.pk}/")


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"severity": ""}, "Choose how bad it is."),
        ({"place": ""}, "Say where it is, so that somebody finds it."),
        ({"kind": ""}, "Choose what you found."),
        ({"checked_on": "2027-06-01"}, "This day is in the future."),
    ],
)
def test_what_is_missing_is_said_and_nothing_is_kept(
    as_user: SignIn, crew: User, deck: Deck, typed: dict[str, str], words: str
) -> None:
    answer = write(as_user(crew), deck, **typed)

    assert words in answer.content.decode()
    assert not StructureCheck.objects.exists()


def test_photographs_from_a_phone_follow_the_form_of_their_defect_once(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    key = str(uuid.uuid4())
    browser = as_user(crew)
    write(browser, deck, form_key=key)
    for _ in range(2):
        browser.post(f"{PATH}photos/", {"form_key": key, "photos": picture()})

    assert Photo.objects.get().defect == Defect.objects.get()


def test_a_photograph_without_the_key_of_its_form_goes_to_no_defect(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    assert found(deck).form_key is None
    browser = as_user(crew)

    for key in ({}, {"form_key": "no key"}):
        answer = browser.post(f"{PATH}photos/", {**key, "photos": picture()})
        assert answer.status_code == 404

    assert not Photo.objects.exists()


def test_an_open_defect_stands_on_deck_scope_booking_and_offer(
    as_user: SignIn, owner: User, deck: Deck
) -> None:
    offer, address = sent_offer(site=deck.site)
    offer.scopes.update(deck=deck)
    CoatFactory(job__deck=deck, job__finished_on=date(2026, 5, 1))
    booking = Booking.objects.create(
        client=deck.site.client,
        site=deck.site,
        crew=CrewFactory(),
        first_on=date(2027, 5, 20),
        last_on=date(2027, 5, 20),
        hours=6,
    )
    booking.decks.add(deck)
    found(deck)
    browser = as_user(owner)

    for path in [
        f"/decks/{deck.pk}/",
        f"/diary/{booking.pk}/",
        f"/diary/new/?deck={deck.pk}",
        f"/offers/{offer.pk}/",
        f"/jobs/{deck.jobs.get().pk}/",
    ]:
        assert "Dangerous: stop and report" in page_of(browser, path), path
    assert "Stop and report; no work there" in page_of(browser, f"/jobs/scope/{deck.pk}/")
    assert "Loose railing: at the stairs" in page_of(Browser(), address)


def test_the_cautions_of_the_work_begin_with_the_open_defects_and_end_when_repaired(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    defect = found(deck)
    scope = propose_scope(deck, today=date(2027, 5, 10))
    assert scope.cautions[0] == "Dangerous: keep off. Loose railing: at the stairs."
    assert scope.warning.startswith("Dangerous, and not repaired yet")

    answer = as_user(crew).post(
        f"/jobs/defects/{defect.pk}/fixed/", {"fixed_on": "2027-05-10", "words": "A carpenter."}
    )

    assert answer["Location"] == f"/decks/{deck.pk}/"
    scope = propose_scope(deck, today=date(2027, 5, 10))
    assert "Loose railing" not in str(scope.cautions[0])
    assert not scope.warning.startswith("Dangerous")


def test_the_client_gets_the_report_by_mail_and_says_on_its_page_that_they_have_read_it(
    as_user: SignIn, office: User, deck: Deck
) -> None:
    check = found(deck).structure_check
    path = f"{PATH}{check.pk}/send/"
    browser = as_user(office)
    assert (
        "Loose railing: at the stairs" in browser.post(path, {"channel": "email"}).content.decode()
    )
    assert not Message.objects.exists()
    sent = {"channel": "email", "confirm": "yes", "shown": check.pk, "send": check.pk}
    browser.post(path, sent)
    browser.post(path, sent)  # once more changes nothing

    message = Message.objects.get()
    url = links.report_url(check)
    assert url in message.text
    public = f"/s/{url.rstrip('/').rpartition('/')[2]}/"
    assert "Please keep everybody off" in page_of(Browser(), public)
    assert Browser().post(public, {"name": ""}).status_code == 422
    Browser().post(public, {"name": "Ottilie Saltonby"})
    Browser().post(public, {"name": "Somebody Else"})

    check.refresh_from_db()
    assert (check.acknowledged_by, check.acknowledged_on) == ("Ottilie Saltonby", date(2027, 5, 10))
    assert "has read what we found" in ToDo.objects.get().words
    assert "Ottilie Saltonby read it on May 10, 2027" in page_of(Browser(), public)


def test_a_report_that_was_taken_back_was_not_told(deck: Deck, office: User) -> None:
    check = found(deck).structure_check
    message = actions.send_defect_report(check=check, channel="email", by=office, now=NOW)
    check.refresh_from_db()
    assert check.told_at == NOW
    outbox.take_back_sending(sending=message.sending, by=office, now=NOW)

    check.refresh_from_db()
    assert check.told_at is None
    again = actions.send_defect_report(check=check, channel="email", by=office, now=NOW)
    assert again.pk != message.pk


def test_a_link_that_was_made_up_or_whose_deck_was_sold_leads_nowhere(deck: Deck) -> None:
    url = links.report_url(found(deck).structure_check)
    public = f"/s/{url.rstrip('/').rpartition('/')[2]}/"
    for made_up in (f"{public[:-2]}x/", "/s/1/", "/s/1-2-/", "/s/a-b-c/", "/s/%C3%A9/"):
        assert Browser().get(made_up).status_code == 404
    deck.site.client = ClientFactory()
    deck.site.save()

    assert Browser().get(public).status_code == 404


def test_the_report_speaks_french_to_a_french_client(deck: Deck) -> None:
    deck.site.client.language = "fr"
    deck.site.client.save()
    url = links.report_url(found(deck).structure_check)

    page = page_of(Browser(), f"/s/{url.rstrip('/').rpartition('/')[2]}/")

    assert escape("Garde-corps qui bouge") in page
    assert "J’ai lu ce rapport" in page or "J&#x27;ai lu ce rapport" in page


def test_the_report_on_paper_has_a_place_to_sign(deck: Deck) -> None:
    assert structure_report_pdf(found(deck).structure_check).startswith(b"%PDF")
