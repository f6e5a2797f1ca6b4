"""The same change on many decks, looked at first; and the last change of one record, undone."""

import re
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.test import Client as Browser

from clients.models import Client, Deck
from jobs.models import Job, SignOff
from reminders.models import Forecast, SavedView
from tests.browser_form import opened_form, send
from tests.factories import ClientFactory, CoatFactory, DeckFactory, JobFactory, ProductFactory

pytestmark = pytest.mark.django_db
MANY = "/decks/change-many/"


@pytest.fixture
def decks(business: object) -> list[Deck]:
    return [DeckFactory(salt="none"), DeckFactory(salt="none"), DeckFactory(salt="spray")]


def preview(browser: Browser, decks: list[Deck], **values: Any) -> dict[str, Any]:
    """The form of the second page as a browser would send it."""
    keys = [deck.pk for deck in decks]
    page = browser.post(MANY, {"deck": keys, "step": "look", **values}).content.decode()
    hidden = dict(re.findall(r'name="(seen-\d+)" value="(\w+)"', page))
    return {**values, **hidden, "step": "save", "deck": [name[5:] for name in hidden]}


def test_many_decks_are_shown_as_they_will_be_and_changed_at_once(
    as_owner: Browser, decks: list[Deck]
) -> None:
    CoatFactory(job__deck=decks[0])
    keys = [deck.pk for deck in decks]
    first = as_owner.post(MANY, {"deck": keys}).content.decode()
    page = as_owner.post(
        MANY, {"deck": keys, "step": "look", "salt": "spray", "roof_percent": "30"}
    ).content.decode()
    form = preview(as_owner, decks, salt="spray")

    as_owner.post(MANY, form)

    assert "Change 3 decks" in first
    assert "No → <strong>In the spray</strong>" in page
    assert "0 → <strong>30</strong>" in page
    assert form["deck"] == [str(decks[0].pk), str(decks[1].pk)]  # the third has it so
    assert set(Deck.objects.values_list("salt", "roof_percent")) == {("spray", 0)}
    assert LogEntry.objects.filter(content_type__model="deck", action=1).count() == 2
    assert "salt" in str(Forecast.objects.get().contributions)


def test_one_shade_of_decks_without_any_is_none_in_the_other_half_of_the_year(
    as_owner: Browser, business: object
) -> None:
    unknown = DeckFactory(summer_shade_percent=None, winter_shade_percent=None)
    known = DeckFactory(summer_shade_percent=10, winter_shade_percent=20)
    chosen = {"deck": [unknown.pk, known.pk], "step": "look", "summer_shade_percent": "40"}
    page = as_owner.post(MANY, chosen).content.decode()

    as_owner.post(MANY, preview(as_owner, [unknown, known], summer_shade_percent="40"))

    assert "Shade in summer: not known → <strong>40</strong>" in page
    assert "Shade in winter: not known → <strong>0</strong>" in page
    shades = Deck.objects.values_list("summer_shade_percent", "winter_shade_percent")
    assert set(shades) == {(40, 0), (40, 20)}


def test_a_deck_that_changed_since_it_was_looked_at_stops_all_of_it(
    as_owner: Browser, decks: list[Deck]
) -> None:
    form = preview(as_owner, decks, salt="spray", archived="archive")
    Deck.objects.filter(pk=decks[1].pk).update(salt="near")

    page = as_owner.post(MANY, form).content.decode()

    assert "Nothing was saved. Look again." in page
    assert "Within 1 km of the surf → <strong>In the spray</strong>" in page
    assert sorted(Deck.objects.values_list("salt", flat=True)) == ["near", "none", "spray"]
    assert not Deck.objects.exclude(archived_at=None).exists()


def test_nothing_chosen_and_wrong_values_are_said(as_owner: Browser, decks: list[Deck]) -> None:
    none = as_owner.post(MANY, {"deck": [decks[0].pk], "step": "look"}).content.decode()
    wrong = as_owner.post(
        MANY, {"deck": [decks[0].pk], "step": "save", "roof_percent": "120"}
    ).content.decode()

    assert "Choose at least one thing to change." in none
    assert "Write a whole number from 0 to 100." in wrong
    assert as_owner.post(MANY, {"deck": ["x"]}).status_code == 302


def test_many_clients_are_archived_and_come_back(as_owner: Browser, business: object) -> None:
    keys = [ClientFactory().pk, ClientFactory().pk]
    asked = as_owner.post("/clients/archive-many/", {"client": keys, "to": "away"})
    assert "Archive 2 clients?" in asked.content.decode()
    assert Client.objects.filter(archived_at=None).count() == 2

    as_owner.post("/clients/archive-many/", {"client": keys, "to": "away", "sure": "1"})
    assert Client.objects.filter(archived_at=None).count() == 0
    as_owner.post("/clients/archive-many/", {"client": keys[:1], "to": "back", "sure": "1"})
    assert Client.objects.filter(archived_at=None).count() == 1


def change_deck(browser: Browser, deck: Deck, **values: Any) -> LogEntry:
    url, fields = opened_form(browser, f"/decks/{deck.pk}/edit/", "notes")
    send(browser, url, fields, **values)
    return LogEntry.objects.filter(content_type__model="deck", object_id=deck.pk).latest("id")


def undo(browser: Browser, entry: LogEntry) -> str:
    address = f"/settings/audit/{entry.pk}/undo/"
    return browser.post(address, follow=True).content.decode()


def test_the_last_change_of_a_record_is_undone_from_the_trail(
    as_owner: Browser, business: object
) -> None:
    deck = DeckFactory(area_m2="20.00", salt="none")
    CoatFactory(job__deck=deck)
    first = change_deck(as_owner, deck, salt="near")
    second = change_deck(as_owner, deck, area_m2="24.5", salt="spray", pool="on", built_year=2001)
    trail = as_owner.get(f"/settings/audit/?record=deck-{deck.pk}").content.decode()

    assert trail.count("/undo/") == 1
    assert f"/settings/audit/{second.pk}/undo/" in trail
    assert "changed again since" in undo(as_owner, first)
    assert "is as it was before that change" in undo(as_owner, second)

    deck.refresh_from_db()
    assert (str(deck.area_m2), deck.salt, deck.pool, deck.built_year) == (
        "20.00",
        "near",
        False,
        None,
    )
    newest = LogEntry.objects.filter(content_type__model="deck").latest("id")
    assert newest.changes["salt"] == ["spray", "near"]


def test_nothing_is_undone_once_something_was_built_on_it(
    as_owner: Browser, business: object
) -> None:
    deck = DeckFactory(salt="none")
    entry = change_deck(as_owner, deck, salt="near")
    JobFactory(deck=deck)

    assert "A job was added since." in undo(as_owner, entry)
    deck.refresh_from_db()
    assert deck.salt == "near"


def test_what_has_steps_of_its_own_is_not_undone_from_the_trail(
    as_owner: Browser, business: object
) -> None:
    deck = DeckFactory()
    as_owner.post(f"/decks/{deck.pk}/archive/")
    archived = LogEntry.objects.filter(content_type__model="deck").latest("id")
    made = LogEntry.objects.log_create(ProductFactory(), action=0, changes={"name": ["None", "x"]})

    assert "Archived at cannot be undone" in undo(as_owner, archived)
    assert "cannot be undone from here" in undo(as_owner, made)


def test_a_value_that_would_not_fit_any_more_is_refused(
    as_owner: Browser, business: object
) -> None:
    deck = DeckFactory(label="Front deck")
    entry = change_deck(as_owner, deck, label="Side deck")
    DeckFactory(site=deck.site, label="Front deck")

    assert "It would not fit any more" in undo(as_owner, entry)


def test_a_signed_job_is_not_undone(as_owner: Browser, business: object) -> None:
    job = JobFactory(notes="One coat")
    entry = LogEntry.objects.log_create(job, action=1, changes={"notes": ["", "One coat"]})
    SignOff.objects.create(job=job, name="Otto", wording="Done.")

    assert "The client’s signature was added since" in undo(as_owner, entry)
    assert Job.objects.get().notes == "One coat"


def test_the_trail_of_a_job_holds_its_coats_also_those_that_are_gone(
    as_owner: Browser, business: object
) -> None:
    coat = CoatFactory()
    job, other = coat.job, CoatFactory()
    LogEntry.objects.log_create(coat, action=1, changes={"colour": ["Sand", "Driftwood"]})
    LogEntry.objects.log_create(other, action=1, changes={"colour": ["Kelp", "Mussel"]})
    LogEntry.objects.log_create(
        coat, action=2, changes={"job": [str(job.pk), "None"], "colour": ["Heron", "None"]}
    )

    assert f"?record=job-{job.pk}" in as_owner.get(f"/jobs/{job.pk}/").content.decode()
    trail = as_owner.get(f"/settings/audit/?record=job-{job.pk}").content.decode()
    assert "Driftwood" in trail
    assert "Heron" in trail
    assert "Mussel" not in trail


def test_a_look_up_is_kept_with_its_filters_by_each_person_alone(
    as_owner: Browser, as_user: Any, crew: Any
) -> None:
    query = "q=saltonby&year=2024&town=&junk=1&page=3"
    as_owner.post("/views/save/", {"page": "look_up", "name": "Saltonbys", "query": query})

    view = SavedView.objects.get()
    assert (view.page, view.query) == ("look_up", "q=saltonby&year=2024")
    mine = as_owner.get("/clients/").content.decode()
    assert '<a href="?q=saltonby&amp;year=2024">Saltonbys</a>' in mine
    assert "Saltonbys" not in as_owner.get("/").content.decode()
    assert "Saltonbys" not in as_user(crew).get("/clients/").content.decode()
    assert as_user(crew).post(f"/views/{view.pk}/remove/").status_code == 404
    assert as_owner.post(f"/views/{view.pk}/remove/")["Location"] == "/clients/"
    assert not SavedView.objects.exists()
