"""A person is erased: name, numbers, e-mail and street stand nowhere, the deck's facts still do."""

from datetime import UTC, datetime
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.contrib.contenttypes.models import ContentType
from django.db import connection
from django.test import Client as Browser

from clients.messaging import suppression
from clients.messaging.models import Attachment, Consent, InboundEvent, StaffNotice, ToDo
from clients.models import Business, Client, ContactPoint, Deck, Erasure, User
from jobs.actions import erasing
from jobs.models import Job, ListImport
from jobs.search import find_decks
from reminders.models import ClientAnswer, ClientLink, SavedView
from tests.browser_form import opened_form, send
from tests.factories import (
    ClientFactory,
    CoatFactory,
    ConsentFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
    MessageFactory,
    OfferFactory,
    OfferScopeFactory,
    PhoneFactory,
    PhotoFactory,
    PropertyFactory,
    VisitFactory,
)
from tests.jobs.diary_days import booked, text

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
NEEDLES = ["testwell", "5550161", "555-0161", "555-0162", "vera@example.org", "eider drive"]
TOLD = "Vera Testwell, 9 Eider Drive, (902) 555-0161, vera@example.org"


def everything_that_is_said() -> list[tuple[str, str, str]]:
    """Each value of each column in which words can stand, of each table of the book."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT table_name, column_name FROM information_schema.columns"
            " WHERE table_schema = 'public' AND (data_type IN ('text', 'character varying',"
            " 'json', 'jsonb', 'ARRAY', 'tsvector', 'bytea'))"
        )
        columns = cursor.fetchall()
        found = []
        for table, column in columns:
            value = (
                f"convert_from(\"{column}\", 'LATIN1')" if column == "content" else f'"{column}"'
            )
            cursor.execute(f'SELECT {value}::text FROM "{table}" WHERE "{column}" IS NOT NULL')  # noqa: S608
            found += [(table, column, row[0]) for row in cursor.fetchall()]
    return found


def places_of(*needles: str) -> set[tuple[str, str]]:
    said = everything_that_is_said()
    return {
        (table, column)
        for table, column, value in said
        for needle in needles
        if needle in value.casefold()
    }


@pytest.fixture
def vera(owner: User, as_owner: Browser, with_words: None) -> Client:
    """A client about whom something stands in all corners of the book."""
    client = ClientFactory(name="Testwell, Vera", salutation="Vera", notes=TOLD)
    phone = PhoneFactory(client=client, value="902-555-0161")
    EmailFactory(client=client, value="vera@example.org")
    ConsentFactory(client=client, evidence=f"Call with {TOLD}")
    home = PropertyFactory(client=client, street="9 Eider Drive", access_notes=TOLD)
    deck = DeckFactory(site=home, label="Deck", notes=f"Larch. {TOLD}")
    job = CoatFactory(job__deck=deck, job__notes=f"Two coats. Vera helped. {TOLD}").job
    VisitFactory(deck=deck, notes=TOLD)
    PhotoFactory(deck=deck, job=job, caption=f"Steps. {TOLD}")
    offer = OfferFactory(client=client, site=home, introduction=TOLD, is_sent=True)
    OfferScopeFactory(offer=offer, deck=deck, why=TOLD)
    message = MessageFactory(client=client, address="vera@example.org", text=TOLD)
    Attachment.objects.create(
        message=message, name="offer.pdf", media_type="application/pdf", content=TOLD.encode()
    )
    InboundEvent.objects.create(source="bounce", event_id="1", raw=TOLD, message=message)
    ToDo.objects.create(kind="answer", key="a", client=client, words=TOLD)
    StaffNotice.objects.create(key="b", user=owner, words=TOLD, url="", made_at=NOW)
    link = ClientLink.objects.create(message=message, page_hash="a" * 64)
    ClientAnswer.objects.create(link=link, kind="details", given={"phone": "902-555-0162"})
    SavedView.objects.create(owner=owner, name="Vera Testwell", query="q=testwell")
    ListImport.objects.create(
        file_name="clients.csv", decisions={"same": {"testwell vera|v testwell": "same"}}
    )
    # through the pages, so that the trail knows
    url, fields = opened_form(as_owner, f"/clients/{client.pk}/edit/", "notes")
    send(as_owner, url, fields, **{"reach-0-value": "902-555-0162", "notes": f"{TOLD} Dog."})
    phone.refresh_from_db()
    assert phone.normalized == "+19025550162"
    url, fields = opened_form(as_owner, f"/decks/{deck.pk}/edit/", "notes")
    send(as_owner, url, fields, notes=f"Larch. {TOLD} Moss.")
    return client


def test_after_an_erasure_no_column_of_any_table_names_them(vera: Client, owner: User) -> None:
    before = places_of(*NEEDLES)
    assert len(before) > 20  # or the walk could find nothing

    erasing.erase_client(client=vera, by=owner, now=NOW)

    assert places_of(*NEEDLES) == set()


def test_the_facts_of_the_deck_stay(vera: Client, owner: User) -> None:
    deck = Deck.objects.get(site__client=vera)
    facts = (deck.area_m2, deck.species)

    erasing.erase_client(client=vera, by=owner, now=NOW)

    deck.refresh_from_db()
    job = Job.objects.get(deck=deck)
    assert (deck.area_m2, deck.species) == facts
    assert deck.notes.startswith("Larch. ")
    assert deck.notes.endswith("Moss.")
    assert job.notes.startswith("Two coats. ")
    assert job.coats_applied.count() == 1
    assert deck.photos.get().caption.startswith("Steps. ")
    assert (deck.site.town, round(deck.site.latitude, 2)) == ("Lunenburg", 44.38)
    assert vera.offers.get().lines.count() == 0 or vera.offers.get().total is not None


def test_they_are_never_written_to_again(vera: Client, owner: User) -> None:
    erasing.erase_client(client=vera, by=owner, now=NOW)

    business = Business.objects.get()
    for channel, address in (("email", "Vera@example.org"), ("text", "+19025550162")):
        assert suppression.suppressed_addresses(
            business=business, channel=channel, addresses=[address]
        ) == {address}
    assert not Consent.objects.filter(client=vera).exists()
    assert vera.messages.get().state == "cancelled"


def test_nobody_is_found_by_their_words(vera: Client, owner: User) -> None:
    assert find_decks("testwell", limit=5).hits

    erasing.erase_client(client=vera, by=owner, now=NOW)

    found = find_decks("testwell", limit=5)
    assert not found.hits


def test_others_with_the_same_name_street_and_number_keep_theirs(vera: Client, owner: User) -> None:
    other = ClientFactory(name="Vera Testwell")
    PhoneFactory(client=other, value="902-555-0161")
    notes = "Next to 9 Eider Drive"
    home = PropertyFactory(client=other, street="9 Eider Drive", access_notes=notes)

    erasing.erase_client(client=vera, by=owner, now=NOW)

    other.refresh_from_db()
    home.refresh_from_db()
    assert other.name == "Vera Testwell"
    assert ContactPoint.objects.get(client=other).value == "902-555-0161"
    assert (home.street, home.access_notes) == ("9 Eider Drive", notes)


def test_the_owner_sees_what_goes_erases_and_finds_the_proof(
    vera: Client, as_owner: Browser, owner: User
) -> None:
    shown = text(as_owner.get(f"/jobs/erase/{vera.pk}/"))
    assert "1 message" in shown
    assert "1 job" in shown

    first = as_owner.post(f"/jobs/erase/{vera.pk}/", follow=True)
    again = as_owner.post(f"/jobs/erase/{vera.pk}/", follow=True)

    proof = Erasure.objects.get()
    assert (proof.client_number, proof.by) == (vera.pk, owner)
    assert proof.counts["contact points"] == 2
    assert proof.counts["consents"] == 1
    assert f"Client {vera.pk}" in text(first)
    assert "contact points: 2" in text(again)
    assert "Erased client" in text(as_owner.get(f"/clients/{vera.pk}/"))
    kind = ContentType.objects.get_for_model(Client)
    trail = LogEntry.objects.filter(content_type=kind, object_id=vera.pk)
    assert trail.exists()
    assert as_owner.get("/settings/audit/").status_code == 200


def test_a_visit_to_come_is_settled_first(vera: Client, as_owner: Browser, owner: User) -> None:
    CrewFactory()
    booked(decks=list(Deck.objects.filter(site__client=vera)))

    answer = text(as_owner.post(f"/jobs/erase/{vera.pk}/", follow=True))

    assert "A visit is booked" in answer
    assert not Erasure.objects.exists()


def test_only_the_owner_erases(vera: Client, as_user: Any, office: User, crew: User) -> None:
    for person in (office, crew):
        assert as_user(person).post(f"/jobs/erase/{vera.pk}/").status_code == 403
        assert as_user(person).get("/jobs/erasures/").status_code == 403
        with pytest.raises(erasing.ErasureError, match="Only the owner"):
            erasing.erase_client(client=vera, by=person, now=NOW)
