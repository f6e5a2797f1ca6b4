"""What visits found moves the forecast of the coat that they saw."""

from datetime import date

from reminders.forecasting import bridge
from reminders.models import Forecast
from tests.factories import VisitFactory
from tests.reminders.conftest import refresh


def test_a_sound_visit_puts_the_due_date_off(coated):
    deck = coated(on=date(2025, 6, 1))
    before = deck.forecast.due_on
    VisitFactory(deck=deck, visited_on=date(2026, 10, 1), overall=1)

    refresh(deck)

    row = Forecast.objects.get(deck=deck)
    assert row.due_on > before
    assert row.sound_on == date(2026, 10, 1)
    assert row.contributions["inspection"] > 0


def test_a_visit_that_found_it_worn_makes_it_due_by_then(coated):
    deck = coated(on=date(2026, 5, 1))
    VisitFactory(deck=deck, visited_on=date(2026, 8, 1), overall=1)
    VisitFactory(deck=deck, visited_on=date(2026, 11, 1), overall=4)

    refresh(deck)

    row = Forecast.objects.get(deck=deck)
    assert (
        date(2026, 8, 1)
        <= row.window_opens_on
        <= row.half_worn_on
        <= row.late_on
        <= date(2026, 11, 1)
    )
    assert row.chance_worn == 1


def test_the_worst_defect_counts_where_nobody_graded_the_whole(coated):
    deck = coated(on=date(2026, 5, 1))
    VisitFactory(deck=deck, visited_on=date(2026, 11, 1), overall=None, greying=1, flaking=4)

    refresh(deck)

    assert Forecast.objects.get(deck=deck).chance_worn == 1


def test_of_visits_that_disagree_the_later_is_believed(coated):
    deck = coated(on=date(2026, 5, 1))
    VisitFactory(deck=deck, visited_on=date(2026, 8, 1), overall=4)
    VisitFactory(deck=deck, visited_on=date(2026, 11, 1), overall=1)

    refresh(deck)

    row = Forecast.objects.get(deck=deck)
    assert row.chance_worn < 0.5
    assert row.sound_on == date(2026, 11, 1)


def test_what_was_found_on_the_day_of_the_job_says_nothing_about_the_new_coat(coated):
    deck = coated(on=date(2026, 5, 1))
    before = deck.forecast.due_on
    VisitFactory(deck=deck, visited_on=date(2026, 5, 1), overall=5)

    refresh(deck)

    assert Forecast.objects.get(deck=deck).due_on == before


def test_who_wrote_a_grade_down_is_not_taken_for_who_looked(coated, owner):
    """As of an imported list: one account, and grades by everybody."""
    deck = coated(on=date(2026, 5, 1))
    given = {"deck": deck, "overall": 1, "recorded_by": owner}
    VisitFactory(**given, visited_on=date(2026, 8, 1), found_by="")
    VisitFactory(**given, visited_on=date(2026, 9, 1), found_by=" Lee ")
    VisitFactory(**given, visited_on=date(2026, 10, 1), found_by="lee")

    coats = bridge.read_newest_coats([deck.pk], today=date(2026, 11, 1))

    lee, too, nobody = bridge.graded_columns(coats)["graders"][0]
    assert nobody == -1
    assert lee == too > 0
