"""The day of a crew on paper, and how the work is done: steps, sanding, colour, photographs."""

import io
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client as Browser
from pypdf import PdfReader

from clients.models import Business, Deck, User
from jobs.actions.booking_inputs import NewBooking
from jobs.actions.bookings import book_work
from jobs.models import ColourApproval, Defect, SignOff, StructureCheck
from jobs.scope import Override, propose_scope
from jobs.work import protection_for, tools_for
from tests.factories import (
    CoatFactory,
    CrewFactory,
    DeckFactory,
    JobFactory,
    PhoneFactory,
    PhotoFactory,
    ProductFactory,
)
from tests.jobs.sent_offers import NOW, page_of

pytestmark = pytest.mark.django_db
SignIn = Callable[[User], Browser]
TODAY = date(2027, 5, 10)


@pytest.fixture
def deck(business: Any) -> Deck:
    """One with an oil of last year on it."""
    deck: Deck = DeckFactory(label="Back deck", site__access_notes="Gate code 4471, dog inside.")
    oil = ProductFactory(name="Tidewood Deck Oil")
    ProductFactory(name="Wharf Cleaner", kind="cleaner", finish_class="")
    CoatFactory(job__deck=deck, job__finished_on=date(2026, 5, 1), product=oil)
    return deck


def titles(deck: Deck, **override: Any) -> list[str]:
    scope = propose_scope(deck, today=TODAY, override=Override(**override))
    return [str(step.title) for step in scope.steps]


def test_the_steps_of_a_strip_look_decide_test_and_look_again(deck: Deck) -> None:
    found = titles(deck, work="strip", stripper_applications=1)

    wanted = [
        *("Set up", "Stripper", "Look, then decide", "Rinse off the stripper", "Brightener"),
        *("Rinse off the brightener", "Check that it is neutral", "Rinse the plants"),
        *("Let the wood dry", "Fasteners again", "Light sand"),
    ]
    assert [title for title in found if title in wanted] == wanted


def test_a_recoat_need_not_be_sanded_and_then_costs_and_takes_no_sanding(deck: Deck) -> None:
    assert "Light sand" in titles(deck, work="recoat")
    scope = propose_scope(deck, today=TODAY, override=Override(work="recoat", without_sanding=True))

    assert "Light sand" not in [str(step.title) for step in scope.steps]
    assert "sand" not in scope.quantities
    assert "abrasive" not in [need.what for need in scope.needs]
    assert "Light sand" in titles(deck, work="strip", without_sanding=True)


def test_a_new_colour_wants_a_test_patch_the_same_as_last_time_none(deck: Deck) -> None:
    other = ProductFactory(name="Saltmarsh Oil")

    assert "Test patch" not in titles(deck, work="recoat")
    assert "Test patch" in titles(deck, work="strip", product=other, colour="Honey")


def test_the_approved_colour_keeps_name_and_day(as_user: SignIn, crew: User, deck: Deck) -> None:
    oil = deck.jobs.get().coats_applied.get().product
    typed = {
        "finish": f"{oil.pk}:Cedar",
        "approved_by": "Ottilie Saltonby",
        "approved_on": "2026-11-20",
    }
    for _ in range(2):
        as_user(crew).post(f"/jobs/colour/{deck.pk}/", typed)

    approval = ColourApproval.objects.get()
    assert (approval.colour, approval.product) == ("Cedar", oil)
    assert "Cedar approved by Ottilie Saltonby" in page_of(as_user(crew), f"/decks/{deck.pk}/")
    later = typed | {"approved_on": "2099-01-01"}
    assert "in the future" in as_user(crew).post(f"/jobs/colour/{deck.pk}/", later).content.decode()


def test_a_job_without_photographs_is_saved_and_says_so(
    as_user: SignIn, owner: User, deck: Deck
) -> None:
    Business.objects.update(wants_photos=True)
    job = deck.jobs.get()
    path = f"/jobs/{job.pk}/"
    words = "There is no photo from before the work and none of the finished deck."
    assert words in page_of(as_user(owner), path)
    PhotoFactory(deck=deck, job=job, moment="found")
    assert "There is no photo of the finished deck." in page_of(as_user(owner), path)

    brought_in = JobFactory(deck=deck, source="list row 4")
    assert "no photo " not in page_of(as_user(owner), f"/jobs/{brought_in.pk}/")
    Business.objects.update(wants_photos=False)
    assert "no photo " not in page_of(as_user(owner), path)


def test_a_sign_off_waits_for_photographs_where_the_owner_says_so(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    Business.objects.update(sign_off_needs_photos=True)
    job = deck.jobs.get()
    path = f"/jobs/{job.pk}/sign-off/"
    browser = as_user(crew)

    assert "Photos first" in page_of(browser, path)
    assert "There is no photo from before the work and none of the finished deck." in page_of(
        browser, path
    )
    assert "Say why, or add the photos." in browser.post(path, {"because": " "}).content.decode()
    answer = browser.post(path, {"because": "The camera broke"}, follow=True)
    assert "The work is done" in answer.content.decode()
    job.refresh_from_db()
    assert job.notes.endswith("No photos before the sign-off: The camera broke")
    assert "travail" in page_of(browser, f"{path}?language=fr")

    PhotoFactory(deck=deck, job=job, moment="found")
    PhotoFactory(deck=deck, job=job, moment="finished")
    assert "The work is done" in page_of(browser, path)


def test_a_name_that_was_signed_is_taken_without_photographs_too(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    Business.objects.update(sign_off_needs_photos=True)
    job = deck.jobs.get()

    as_user(crew).post(f"/jobs/{job.pk}/sign-off/", {"name": "Ottilie Saltonby"})

    assert SignOff.objects.get().name == "Ottilie Saltonby"


def test_the_day_sheet_says_where_what_and_with_what(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    team = CrewFactory(name="Tern crew")
    PhoneFactory(client=deck.site.client, value="902-555-0147")
    check = StructureCheck.objects.create(deck=deck, checked_on=TODAY)
    Defect.objects.create(structure_check=check, kind="rot", severity="2", place="third joist")
    work = NewBooking(
        site=deck.site, decks=[deck], hours=Decimal(6), first_day=date(2027, 5, 20), crew=team
    )
    book_work(work=work, by=None, now=NOW, notify_client=False)

    answer = as_user(crew).get(f"/diary/day-sheet/{team.pk}/", {"day": "2027-05-20"})

    text = " ".join(page.extract_text() for page in PdfReader(io.BytesIO(answer.content)).pages)
    for words in [
        *("Tern crew", "Gate code 4471", "555-0147", "Rotten wood: third joist"),
        *("Tidewood Deck Oil", "Sander", "Dust mask", "To load", "Check that it is neutral"),
    ]:
        assert words in " ".join(text.split()), words
    for words in ("chlorine gas", "Rags with oil", "rinse with clean water", "licensed practice"):
        assert " ".join(text.split()).count(words) == 1, words


def test_what_is_taken_along_follows_the_tasks() -> None:
    assert not any("Sander" in words for words in tools_for({"clean", "coat"}))
    assert any("what comes off" in words for words in tools_for({"strip"}))
    assert not any("what comes off" in words for words in tools_for({"clean", "coat"}))
    assert any("Chemical" in words for words in protection_for({"strip"}, is_high=False))
    assert any("falls" in words for words in protection_for(set(), is_high=True))


def test_the_order_list_names_the_supplier(as_user: SignIn, crew: User, deck: Deck) -> None:
    oil = deck.jobs.get().coats_applied.get().product
    oil.supplier = "Harbour Paints, article 4471"
    oil.save()

    assert "from Harbour Paints, article 4471" in page_of(as_user(crew), f"/jobs/scope/{deck.pk}/")


def test_the_lowest_of_the_night_that_was_typed_goes_before_the_dew_point(
    as_user: SignIn, crew: User, deck: Deck
) -> None:
    oil = deck.jobs.get().coats_applied.get().product
    assert oil.base == "water"
    warm = page_of(as_user(crew), f"/jobs/scope/{deck.pk}/?air_c=18&humidity_percent=40&night_c=12")

    assert "12 °C forecast" in warm
