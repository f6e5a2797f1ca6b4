"""Photographs of the business's own beside the grades: two people who look at the same pictures
give the same grade."""

from collections.abc import Callable
from datetime import date
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.test import Client as Browser
from django.utils import timezone
from freezegun import freeze_time

from clients.models import Business, Deck, User
from jobs import actions
from jobs.actions.erasing import erase_client
from jobs.actions.jobs import JobInput
from jobs.models import GradeExample, Job, Photo, StructureCheck, Visit
from tests.factories import DeckFactory, JobFactory, PhotoFactory, VisitFactory
from tests.reminders.client_pages import NOW as MAY
from tests.reminders.client_pages import due_deck, page_url, remind_of

pytestmark = pytest.mark.django_db
NOW = timezone.now()


@pytest.fixture
def as_crew(crew: User, as_user: Callable[[User], Browser]) -> Browser:
    return as_user(crew)


def graded_job(**grades: Any) -> Job:
    deck = DeckFactory()
    visit = VisitFactory(deck=deck, **{"overall": 3, **grades})
    job: Job = JobFactory(deck=deck, visit=visit)
    return job


def found_photo(job: Job, **values: Any) -> Photo:
    photo: Photo = PhotoFactory(deck=job.deck, job=job, **values)
    return photo


def press(browser: Browser, photo: Photo, **values: str) -> str:
    answer = browser.post(f"/jobs/photos/{photo.pk}/change/", values, follow=True)
    return answer.content.decode()


def forms_of(browser: Browser, deck: Deck) -> list[str]:
    """The pages on which somebody grades that deck."""
    paths = [f"/jobs/log/?deck={deck.pk}", f"/jobs/visit/?deck={deck.pk}"]
    return [browser.get(path).content.decode() for path in paths]


def test_a_photo_stands_beside_its_grade_until_another_takes_its_place_or_it_is_taken_back(
    as_owner: Browser, as_crew: Browser, business: Business
) -> None:
    job = graded_job(flaking=4)
    photo, other = found_photo(job), found_photo(graded_job())
    assert "Example of grade 3" in as_owner.get(f"/jobs/{job.pk}/").content.decode()

    press(as_owner, photo, example="overall")
    press(as_owner, photo, example="flaking")

    assert set(GradeExample.objects.values_list("kind", "grade", "photo")) == {
        ("overall", 3, photo.pk),
        ("flaking", 4, photo.pk),
    }
    for page in forms_of(as_crew, DeckFactory()):
        # small in the choice, large in the fold; of two kinds
        assert page.count(f'src="/jobs/photos/{photo.pk}/?tiny"') == 2
        assert page.count(f'src="/jobs/photos/{photo.pk}/?small"') == 2

    press(as_owner, other, example="overall")
    press(as_owner, photo, no_example="flaking")

    assert list(GradeExample.objects.values_list("kind", "grade", "photo")) == [
        ("overall", 3, other.pk)
    ]
    assert "No longer the example of grade 3" in press(as_owner, other, caption="By the stairs")
    press(as_owner, other, no_example="overall")
    assert all("?tiny" not in page for page in forms_of(as_crew, job.deck))


def test_a_photo_of_no_job_goes_by_the_check_of_its_deck_and_day(
    as_owner: Browser, business: Business
) -> None:
    deck = DeckFactory()
    day = date(2026, 9, 14)
    check = VisitFactory(deck=deck, visited_on=day, overall=None, beading=2)
    VisitFactory(deck=deck, visited_on=day, beading=5, observer="client")
    photo = PhotoFactory(deck=deck, taken_on=day)

    press(as_owner, photo, example="beading")

    made = GradeExample.objects.get()
    assert (made.grade, made.visit, made.photo) == (2, check, photo)
    page = as_owner.get(f"/jobs/deck-files/{deck.pk}/").content.decode()
    assert "Example of grade 2, water no longer beads" in page


def test_the_crew_sees_the_examples_and_chooses_none(as_crew: Browser, business: Business) -> None:
    photo = found_photo(graded_job())

    answer = as_crew.post(f"/jobs/photos/{photo.pk}/change/", {"example": "overall"})

    assert answer.status_code == 403
    assert not GradeExample.objects.exists()
    assert 'name="example"' not in as_crew.get(f"/jobs/{photo.job_id}/").content.decode()


@pytest.mark.parametrize(
    "values", [{"moment": "finished"}, {"shows_people": True}, {"defect": True}, {"kind": "mould"}]
)
def test_what_shows_no_grade_is_refused_and_says_why(
    as_owner: Browser, business: Business, values: dict[str, Any]
) -> None:
    values = dict(values)
    kind = values.pop("kind", "overall")
    job = graded_job()
    if values.pop("defect", False):
        check = StructureCheck.objects.create(deck=job.deck, checked_on=date(2026, 9, 14))
        values["defect"] = check.defects.create(kind="rot", severity="3", place="Stairs")
    photo = found_photo(job, **values)

    said = press(as_owner, photo, example=kind)

    assert "This photo shows no such grade." in said
    assert not GradeExample.objects.exists()


def erase(example: GradeExample, owner: User, browser: Browser) -> None:
    client = example.photo.deck.site.client
    erase_client(client=client, by=owner, now=NOW)
    assert Photo.objects.filter(pk=example.photo_id).exists()  # what was done on the deck stays


def remove_photo(example: GradeExample, owner: User, browser: Browser) -> None:
    press(browser, example.photo, remove="1")


def recognise(example: GradeExample, owner: User, browser: Browser) -> None:
    press(browser, example.photo, caption="", shows_people="on")


def grade_anew(example: GradeExample, owner: User, browser: Browser) -> None:
    job = example.photo.job
    assert job
    details = {"kind": job.kind, "finished_on": job.finished_on, "crew": job.crew}
    findings = {"overall": 4, "reason": Visit.Reason.DUE}
    work = JobInput(details, findings=findings)
    actions.change_job(job=job, work=work, by=owner, now=NOW)


@pytest.mark.parametrize("end", [erase, remove_photo, recognise, grade_anew])
def test_an_example_goes_with_its_photo_its_client_and_its_grade(
    as_owner: Browser,
    business: Business,
    owner: User,
    end: Callable[[GradeExample, User, Browser], None],
) -> None:
    photo = found_photo(graded_job())
    kept = actions.set_grade_example(photo=found_photo(graded_job(overall=1)), kind="overall")

    end(actions.set_grade_example(photo=photo, kind="overall"), owner, as_owner)

    assert list(GradeExample.objects.all()) == [kept]


def test_the_database_keeps_one_example_a_kind_and_grade() -> None:
    job = graded_job()
    photo = found_photo(job)
    first = actions.set_grade_example(photo=photo, kind="overall")
    rows = [
        {"kind": "overall", "grade": 3, "photo": found_photo(job)},  # there already
        {"kind": "overall", "grade": 2, "photo": photo},  # one grade a photo and kind
        {"kind": "overall", "grade": 6, "photo": found_photo(job)},
        {"kind": "shine", "grade": 1, "photo": found_photo(job)},
    ]
    for row in rows:
        with pytest.raises(IntegrityError), transaction.atomic():
            GradeExample.objects.create(visit=first.visit, **row)


def test_other_peoples_decks_are_not_shown_to_clients(client: Browser, business: Business) -> None:
    photo = found_photo(graded_job())
    actions.set_grade_example(photo=photo, kind="overall")
    with freeze_time(MAY, ignore=["psycopg", "concurrent"]):
        theirs = client.get(page_url(remind_of(due_deck())))

    assert theirs.status_code == 200
    assert f"/{photo.pk}/" not in theirs.content.decode()
    assert client.get(f"/jobs/photos/{photo.pk}/?tiny").status_code == 302  # to the sign-in


def test_the_phone_keeps_the_few_pictures_of_the_forms(
    as_crew: Browser, business: Business
) -> None:
    photo = found_photo(graded_job(flaking=4))
    for kind in ("overall", "flaking"):
        actions.set_grade_example(photo=photo, kind=kind)

    pictures = as_crew.get("/phone/day/").json()["pictures"]

    assert pictures == [f"/jobs/photos/{photo.pk}/?tiny", f"/jobs/photos/{photo.pk}/?small"]
    sizes = [len(as_crew.get(path).content) for path in pictures]
    assert sizes[0] < sizes[1]
    assert sizes[0] < 20_000
