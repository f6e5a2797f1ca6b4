"""Two entries of one client, or of one deck: found by score, merged, told apart, taken apart."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils.module_loading import import_string

from clients.actions import merging
from clients.doubles import likely_doubles, look_through_book
from clients.messaging.models import Consent, Message
from clients.models import Client, ClientMerge, ContactPoint, Deck, Property, ToldApart, User
from jobs.models import Booking, Job, Offer
from jobs.search import find_decks
from tests.clients.filled import page, place, rows, whole
from tests.factories import (
    ClientFactory,
    ConsentFactory,
    CrewFactory,
    DeckFactory,
    EmailFactory,
    JobFactory,
    MessageFactory,
    OfferFactory,
    PhoneFactory,
    PropertyFactory,
)
from tests.jobs.diary_days import booked

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def vera_twice() -> tuple[Client, Client]:
    """One client under two names, with a number in common."""
    one = ClientFactory(name="Vera Testwell", notes="Rings twice")
    other = ClientFactory(name="Testwell, Vera", notes="Dog")
    PhoneFactory(client=one, value="902-555-0161")
    PhoneFactory(client=other, value="902-555-0161")
    EmailFactory(client=other, value="vera@example.org")
    return one, other


def with_work(client: Client, street: str) -> Deck:
    deck = DeckFactory(site=PropertyFactory(client=client, street=street), label="Deck")
    JobFactory(deck=deck)
    return deck


def merged(one: Client, other: Client, owner: User, **over: Any) -> ClientMerge:
    choice = merging.ClientChoice(one.name, **over)
    return merging.merge_clients(kept=one, away=other, choice=choice, by=owner, now=NOW)


def snapshot() -> dict[str, Any]:
    """Whose everything is."""
    return {
        model.__name__: list(model.objects.order_by("pk").values())
        for model in (Client, ContactPoint, Property, Deck, Job, Offer, Booking, Message)
    }


def test_doubles_are_listed_by_what_they_share(as_owner: Browser, owner: User) -> None:
    one, other = vera_twice()
    ClientFactory(name="Otto Bright")

    found = likely_doubles()
    shown = page(as_owner.get("/clients/doubles/"))

    assert [(each.one, each.other) for each in found] == [(one, other)]
    assert found[0].score >= 74
    assert "902-555-0161" in shown


def test_streets_written_in_two_ways_and_names_alike_are_found(owner: User) -> None:
    one, other = ClientFactory(name="Vera Testwell"), ClientFactory(name="Vera Tesstwell")
    PropertyFactory(client=one, street="9 Eider Dr.")
    PropertyFactory(client=other, street="9 Eider Drive")

    assert [(each.one, each.other) for each in likely_doubles()] == [(one, other)]


def test_neighbours_with_a_number_in_common_are_no_doubles(owner: User) -> None:
    one, other = ClientFactory(name="Vera Testwell"), ClientFactory(name="Boris Quill")
    PhoneFactory(client=one, value="902-555-0161")
    PhoneFactory(client=other, value="902-555-0161")

    assert likely_doubles() == []


def test_everything_comes_together_and_goes_apart_again(owner: User, with_words: None) -> None:
    one, other = vera_twice()
    with_work(one, "9 Eider Drive")
    deck = with_work(other, "9 Eider Dr.")
    second = with_work(other, "4 Gannet Row")
    offer = OfferFactory(client=other, site=deck.site)
    CrewFactory()
    booking = booked(decks=[second])
    message = MessageFactory(client=other)
    before = snapshot()

    merge = merged(one, other, owner)

    one.refresh_from_db()
    assert set(Deck.objects.filter(site__client=one)) >= {deck, second}
    assert one.properties.count() == 2  # the one that both had is one
    assert sorted(
        Deck.objects.filter(site__street="9 Eider Drive").values_list("label", flat=True)
    ) == [
        "Deck",
        "Deck 2",
    ]
    assert sorted(point.value for point in one.contact_points.all()) == [
        "902-555-0161",
        "vera@example.org",
    ]
    assert one.notes == "Rings twice\n\nDog"
    for row in (offer, booking, message):
        row.refresh_from_db()
        assert row.client == one
    assert {hit.client_id for hit in find_decks("gannet", limit=5).hits} == {one.pk}
    assert likely_doubles() == []

    merging.undo_merge(merge=merge, now=NOW)

    assert snapshot() == before
    assert {hit.client_id for hit in find_decks("gannet", limit=5).hits} == {other.pk}


@pytest.mark.parametrize("withdrew", ["kept", "away"])
def test_a_withdrawal_of_either_stands(owner: User, withdrew: str) -> None:
    one, other = vera_twice()
    who, else_ = (one, other) if withdrew == "kept" else (other, one)
    ConsentFactory(client=who, is_given=False, recorded_at=NOW - timedelta(days=400))
    given = ConsentFactory(client=else_, recorded_at=NOW - timedelta(days=10))

    merge = merged(one, other, owner)

    newest = Consent.objects.filter(client=one).first()
    assert newest is not None
    assert not newest.is_given
    merging.undo_merge(merge=merge, now=NOW)
    assert Consent.objects.filter(client=else_).get() == given
    assert not Consent.objects.filter(client=who, is_given=True).exists()


def test_a_consent_of_the_other_entry_comes_along(owner: User) -> None:
    one, other = vera_twice()
    given = ConsentFactory(client=other, recorded_at=NOW - timedelta(days=10))

    merged(one, other, owner)

    assert list(Consent.objects.filter(client=one)) == [given]


def test_what_was_built_on_it_keeps_it_from_being_undone(as_owner: Browser, owner: User) -> None:
    one, other = vera_twice()
    merge = merged(one, other, owner)
    MessageFactory(client=one)

    answer = page(as_owner.post(f"/clients/merges/{merge.pk}/undo/", follow=True))

    assert "1 message" in answer
    other.refresh_from_db()
    assert other.archived_at == NOW


def test_a_person_looks_chooses_and_merges(as_owner: Browser, owner: User) -> None:
    one, other = vera_twice()
    email = other.contact_points.get(kind="email")
    url = f"/clients/doubles/{other.pk}/{one.pk}/"
    shown = page(as_owner.get(url))
    assert "Rings twice" in shown
    assert "Dog" in shown

    answer = as_owner.post(url, {"name": other.pk, "shown": [email.pk], "stays": []}, follow=True)

    one.refresh_from_db()
    assert "one client now" in page(answer)
    assert one.name == "Testwell, Vera"
    assert [point.value for point in one.contact_points.all()] == ["902-555-0161"]


def test_two_who_were_told_apart_are_not_offered_again(as_owner: Browser, owner: User) -> None:
    one, other = vera_twice()
    url = f"/clients/doubles/{one.pk}/{other.pk}/"

    as_owner.post(url, {"apart": "yes"})
    as_owner.post(url, {"apart": "yes"})

    assert likely_doubles() == []
    assert ToldApart.objects.count() == 1


def test_a_large_book_is_looked_through_by_the_worker_and_decisions_show_at_once(
    as_owner: Browser, owner: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    monkeypatch.setattr("clients.doubles.keeping.async_task", asked.append)
    monkeypatch.setattr("clients.doubles.keeping.LARGE_BOOK_CLIENTS", 1)
    one, other = vera_twice()

    before = page(as_owner.get("/clients/doubles/"))
    page(as_owner.get("/clients/doubles/"))  # somebody is at it already
    assert "being looked through" in before
    assert asked == ["clients.doubles.look_through_book"]

    assert import_string(asked[0])() == "1 likely doubles"
    after = page(as_owner.get("/clients/doubles/"))
    assert "Vera Testwell and Testwell, Vera" in after
    assert "902-555-0161" in after
    assert "Looked through on" in after
    assert len(asked) == 1

    merging.tell_apart(one=one, other=other, by=owner, now=NOW)
    assert "No two entries look like one client." in page(as_owner.get("/clients/doubles/"))
    third = ClientFactory(name="Vera Testwell")
    look_through_book()
    assert f"/clients/doubles/{one.pk}/{third.pk}/" in page(as_owner.get("/clients/doubles/"))
    merged(one, third, owner)
    assert f"/{third.pk}/" not in page(as_owner.get("/clients/doubles/"))


def test_pairs_that_were_kept_for_an_hour_are_shown_while_the_worker_looks_again(
    as_owner: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    monkeypatch.setattr("clients.doubles.keeping.async_task", asked.append)
    monkeypatch.setattr("clients.doubles.keeping.LARGE_BOOK_CLIENTS", 1)
    vera_twice()
    look_through_book()

    monkeypatch.setattr("clients.doubles.keeping.FRESH", timedelta(0))
    shown = page(as_owner.get("/clients/doubles/"))

    assert "Vera Testwell and Testwell, Vera" in shown
    assert asked == ["clients.doubles.look_through_book"]


def test_the_crew_merges_nobody(as_user: Any, crew: User) -> None:
    one, other = vera_twice()

    assert as_user(crew).get("/clients/doubles/").status_code == 403
    assert as_user(crew).post(f"/clients/doubles/{one.pk}/{other.pk}/").status_code == 403


def test_two_decks_of_one_property_become_one_and_two_again(as_owner: Browser, owner: User) -> None:
    home = PropertyFactory()
    kept = DeckFactory(site=home, label="Back deck", species="unknown", area_m2=None)
    away = DeckFactory(site=home, label="Deck", species="larch")
    job = JobFactory(deck=away)

    as_owner.post(f"/decks/{kept.pk}/merge/", {"away": away.pk})

    kept.refresh_from_db()
    job.refresh_from_db()
    away.refresh_from_db()
    assert (job.deck, kept.species, kept.area_m2) == (kept, "larch", away.area_m2)
    assert away.archived_at
    merge = kept.merges.get()
    as_owner.post(f"/decks/merges/{merge.pk}/undo/")
    kept.refresh_from_db()
    job.refresh_from_db()
    away.refresh_from_db()
    assert (job.deck, kept.species, kept.area_m2) == (away, "unknown", None)
    assert away.archived_at is None


def test_a_client_like_one_in_the_book_is_asked_about_before_it_is_added(
    as_owner: Browser, owner: User
) -> None:
    place(1, "Lunenburg", "Nova Scotia", "CA", 44.38, -64.31, "America/Halifax", 2263)
    old = ClientFactory(name="Pennington, Marlow")
    PhoneFactory(client=old, value="902-555-0142")

    asked = as_owner.post("/clients/new/", whole())

    assert Client.objects.count() == 1
    assert "in the book already" in page(asked)
    assert "7 Cormorant Lane" in page(asked)
    added: Any = as_owner.post("/clients/new/", whole(somebody_else="yes"))
    assert added.status_code == 302
    assert Client.objects.count() == 2
    again: Any = as_owner.post("/clients/new/", whole())
    assert again.url == added.url


def test_somebody_with_another_name_is_added_without_a_question(
    as_owner: Browser, owner: User
) -> None:
    place(1, "Lunenburg", "Nova Scotia", "CA", 44.38, -64.31, "America/Halifax", 2263)
    ClientFactory(name="Boris Quill")

    answer = as_owner.post("/clients/new/", whole(**rows({"kind": "mobile", "value": ""})))

    assert answer.status_code == 302
