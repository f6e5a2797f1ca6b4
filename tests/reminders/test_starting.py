"""A book that starts from what others learned: handed on by a file without anybody in it, judged on
the book's own visits, and gone again when these speak against it."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client as Browser
from freezegun import freeze_time

from clients.models import Deck
from reminders import forecast
from reminders.forecasting import bridge, refitting
from reminders.models import Forecast, LearnedStart
from tests.reminders.book import simulated_book
from tests.reminders.conftest import NOW, TODAY, refresh

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _clock(business: Any) -> Any:
    with freeze_time(NOW, ignore=["psycopg", "concurrent"]):
        yield


def learned(longer: float = 0.1, doubt: float = 0.3) -> dict[str, Any]:
    """A book in which coats last longer by that much of the logarithm."""
    published = forecast.PUBLISHED_PRIOR
    mean = published.mean.copy()
    mean[0] += longer
    posterior = forecast.Posterior(published.names, mean, doubt * published.covariance, "other")
    return forecast.LearnedBook(posterior, 200, 90, 40).to_dict()


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., str]:
    def make(stored: Any, name: str = "other.json") -> str:
        path = tmp_path / name
        path.write_text(json.dumps(stored), encoding="utf-8")
        return str(path)

    return make


def versions() -> set[str]:
    return set(Forecast.objects.values_list("model_version", flat=True))


def test_a_new_book_starts_from_others_and_forgets_them_when_told(
    coated: Callable[..., Deck], write: Callable[..., str]
) -> None:
    deck = coated()
    before = Forecast.objects.get(deck=deck)

    call_command("start_learning", write(learned()), write(learned(0.2), "second.json"))

    row = LearnedStart.objects.get()
    assert (row.books, row.visits, row.decks) == (2, 400, 80)
    after = Forecast.objects.get(deck=deck)
    assert after.model_version == row.version
    assert after.median_months > before.median_months
    assert after.log_sd < before.log_sd

    call_command("start_learning", "--forget")
    again = Forecast.objects.get(deck=deck)
    assert (again.model_version, again.due_on) == (before.model_version, before.due_on)
    assert not LearnedStart.objects.exists()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("no json", "is no file of export_learning"),
        ("[]", "no file of what a book learned"),
        (json.dumps({"format": "restorer-learned", "version": 9}), "its version is 9"),
        (None, "cannot be read"),
    ],
)
def test_a_file_that_is_wrong_changes_nothing_and_is_named(
    coated: Callable[..., Deck], write: Callable[..., str], tmp_path: Path, text: Any, said: str
) -> None:
    coated()
    good = write(learned())
    bad = tmp_path / "bad.json"
    if text is not None:
        bad.write_text(text, encoding="utf-8")
    before = versions()

    with pytest.raises(CommandError, match=said) as raised:
        call_command("start_learning", good, str(bad))

    assert "bad.json" in str(raised.value)
    assert not LearnedStart.objects.exists()
    assert versions() == before


@pytest.mark.parametrize("arguments", [[], ["--forget", "x.json"]])
def test_files_or_forgetting_one_of_the_two(arguments: list[str]) -> None:
    with pytest.raises(CommandError, match="Name the files to start from, or --forget"):
        call_command("start_learning", *arguments)


def test_too_few_decks_are_not_handed_on(coated: Callable[..., Deck], tmp_path: Path) -> None:
    coated()
    path = tmp_path / "mine.json"
    with pytest.raises(CommandError, match="at least 10 decks are needed; there are 0"):
        call_command("export_learning", str(path))
    assert not path.exists()


@pytest.mark.slow  # fits a book
def test_what_a_book_learned_goes_to_another_without_anything_about_anybody(
    tmp_path: Path, write: Callable[..., str]
) -> None:
    decks = simulated_book(decks=24, months=27)
    path = tmp_path / "mine.json"

    call_command("export_learning", str(path))
    with pytest.raises(CommandError, match="File exists"):
        call_command("export_learning", str(path))

    text = path.read_text(encoding="utf-8")
    owner = decks[0].site.client
    for private in (owner.name, decks[0].label, decks[0].site.street, decks[0].site.town):
        assert private not in text
    stored = json.loads(text)
    assert stored["decks"] == 24
    assert stored["mean"][0] > forecast.PUBLISHED_PRIOR.mean[0]

    # These visits speak for what they taught, and against the contrary.
    refresh(*decks)
    call_command("start_learning", str(path))
    assert versions() == {LearnedStart.objects.get().version}
    before = versions()
    with pytest.raises(CommandError, match="Not started from other books"):
        call_command("start_learning", write(learned(-0.7, 0.05)))
    assert versions() == before


@pytest.mark.slow  # fits a book
def test_a_start_against_which_the_visits_speak_is_set_aside_at_the_next_learning(
    write: Callable[..., str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(refitting, "compute_figures", lambda *_, **__: {})
    call_command("start_learning", write(learned(-0.7, 0.05)))  # no visit yet: taken unseen
    decks = simulated_book(decks=28, months=27)
    refresh(*decks)
    assert bridge.active_posterior().version.startswith("start-")

    result = refitting.refit(today=TODAY, now=NOW)

    assert not LearnedStart.objects.exists()
    assert result.fit is not None
    assert result.fit.is_in_use
    assert versions() == {result.fit.version}


@pytest.mark.slow  # fits a book
def test_a_good_start_is_what_the_book_learns_from_and_is_judged_against(
    write: Callable[..., str], monkeypatch: pytest.MonkeyPatch, as_owner: Browser
) -> None:
    call_command("start_learning", write(learned(0.35, 0.2)))
    simulated_book(decks=28, months=27)

    result = refitting.refit(today=TODAY, now=NOW)

    assert LearnedStart.objects.exists()
    assert result.fit is not None
    assert "of other books" in result.outcome
    assert "of the published figures" in result.outcome or not result.fit.is_in_use
    assert as_owner.get("/figures/").status_code == 200
