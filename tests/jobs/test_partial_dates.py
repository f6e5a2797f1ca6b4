"""A day of which only the month, season or year is known.

Clauses of ISO 8601-2:2019: 4.8 gives the parts of a year their codes (21 to 41), clause 9 the X for
digits that are not specified; levels and examples are those of the Extended Date/Time Format as the
Library of Congress describes it (examples from memory of that page).
"""

from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.day_words import say_season, say_span
from jobs.partial_dates import DaySpan, EdtfError, Precision, parse_edtf

# (as written, first day, last day)
LEVEL_0 = [
    ("1985-04-12", date(1985, 4, 12), date(1985, 4, 12)),  # complete representation
    ("1985-04", date(1985, 4, 1), date(1985, 4, 30)),  # reduced precision: year and month
    ("1985", date(1985, 1, 1), date(1985, 12, 31)),  # reduced precision: year
    ("1964/2008", date(1964, 1, 1), date(2008, 12, 31)),  # time interval, years
    ("2004-06/2006-08", date(2004, 6, 1), date(2006, 8, 31)),  # time interval, months
    ("2004-02-01/2005-02", date(2004, 2, 1), date(2005, 2, 28)),  # ends of unlike precision
]
LEVEL_1 = [
    ("2001-21", date(2001, 3, 1), date(2001, 5, 31)),  # 4.8: spring
    ("2001-22", date(2001, 6, 1), date(2001, 8, 31)),  # 4.8: summer
    ("2001-23", date(2001, 9, 1), date(2001, 11, 30)),  # 4.8: autumn
    ("2001-24", date(2001, 12, 1), date(2002, 2, 28)),  # 4.8: winter
    ("201X", date(2010, 1, 1), date(2019, 12, 31)),  # clause 9, from the right
    ("20XX", date(2000, 1, 1), date(2099, 12, 31)),
    ("2004-XX", date(2004, 1, 1), date(2004, 12, 31)),
    ("1985-04-XX", date(1985, 4, 1), date(1985, 4, 30)),
    ("1985-XX-XX", date(1985, 1, 1), date(1985, 12, 31)),
]
LEVEL_2 = [
    ("2001-25", date(2001, 3, 1), date(2001, 5, 31)),  # 4.8: spring, northern hemisphere
    ("2001-29", date(2001, 9, 1), date(2001, 11, 30)),  # 4.8: spring, southern hemisphere
    ("2001-30", date(2001, 12, 1), date(2002, 2, 28)),  # 4.8: summer, southern hemisphere
    ("2001-34", date(2001, 4, 1), date(2001, 6, 30)),  # 4.8: second quarter of 2001
    ("2001-39", date(2001, 9, 1), date(2001, 12, 31)),  # 4.8: third quadrimester
    ("2001-41", date(2001, 7, 1), date(2001, 12, 31)),  # 4.8: second half
    ("[1667..1672]", date(1667, 1, 1), date(1672, 12, 31)),  # one of a set
]


@pytest.mark.parametrize(("text", "first", "last"), [*LEVEL_0, *LEVEL_1, *LEVEL_2])
def test_the_examples_of_the_standard_give_their_first_and_last_day(text, first, last):
    assert parse_edtf(text) == DaySpan(first, last)


def test_the_seasons_of_the_south_lie_half_a_year_later():
    assert parse_edtf("2001-21", is_south=True) == DaySpan(date(2001, 9, 1), date(2001, 11, 30))
    assert parse_edtf("2001-22", is_south=True) == DaySpan(date(2001, 12, 1), date(2002, 2, 28))
    # A code that names its hemisphere means that one wherever it is read.
    assert parse_edtf("2001-25", is_south=True) == parse_edtf("2001-25")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1985/..", "open at one end"),
        ("../1985", "open at one end"),
        ("1985/", "open at one end"),
        ("1985~", "is not a date"),  # approximate: a span of nobody knows what width
        ("1984?", "is not a date"),
        ("[1667,1668]", "is not a date"),
        ("2001-13", "neither a month nor a part"),
        ("2001-42", "neither a month nor a part"),
        ("2001-02-30", "not a possible date"),
        ("2008/1964", "not a possible date"),
        ("last summer", "is not a date"),
        ("", "open at one end"),
    ],
)
def test_what_has_no_first_and_last_day_is_refused_in_words(text, said):
    with pytest.raises(EdtfError, match=said):
        parse_edtf(text)


@pytest.mark.parametrize(
    ("text", "precision"),
    [
        ("2025-06-12", Precision.DAY),
        ("2023-03", Precision.MONTH),
        ("2021-21", Precision.SEASON),
        ("2021-24", Precision.SEASON),
        ("2019", Precision.YEAR),
        ("[2018..2020]", Precision.SPAN),
        ("[2018-03..2018-06]", Precision.SPAN),
        ("[2018-03-05..2018-06-30]", Precision.SPAN),
    ],
)
@pytest.mark.parametrize("is_south", [False, True])
def test_what_is_written_is_read_back_as_it_was(text, precision, is_south):
    span = parse_edtf(text, is_south=is_south)
    assert span.precision == precision
    assert span.edtf(is_south=is_south) == text


DAYS = st.dates(min_value=date(1950, 1, 1), max_value=date(2090, 12, 31))


@given(first=DAYS, length=st.integers(0, 1500), is_south=st.booleans())
def test_any_span_survives_writing_and_reading(first, length, is_south):
    span = DaySpan(first, first + timedelta(days=length))
    assert parse_edtf(span.edtf(is_south=is_south), is_south=is_south) == span
    assert span.first <= span.middle <= span.last
    assert abs((span.middle - span.first).days - (span.last - span.middle).days) <= 1


def test_nothing_later_than_today_is_possible():
    assert DaySpan.of_year(2026).until(date(2026, 11, 30)).edtf() == "[2026-01..2026-11]"
    with pytest.raises(ValueError, match="cannot begin"):
        DaySpan.of_year(2027).until(date(2026, 11, 30))


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("whole", "third", "words"),
    [
        (DaySpan.of_year(2021), 0, "early 2021"),
        (DaySpan.of_year(2021), 1, "mid-2021"),
        (DaySpan.of_months(2019, 6, 1), 2, "late June 2019"),
        (DaySpan.of_season(2022, 21, is_south=False), 0, "early spring 2022"),
    ],
)
def test_a_third_of_a_time_is_said_as_it_was_typed(whole: DaySpan, third: int, words: str) -> None:
    assert say_span(whole.third(third), is_south=False) == words


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("day", "is_south", "words"),
    [
        (date(2028, 12, 1), False, "winter 2028/29"),
        (date(2029, 2, 28), False, "winter 2028/29"),
        (date(2029, 3, 1), False, "spring 2029"),
        (date(2028, 12, 1), True, "summer 2028/29"),
        (date(2029, 2, 28), True, "summer 2028/29"),
        (date(2029, 6, 1), True, "winter 2029"),
    ],
)
def test_a_season_over_new_year_is_said_by_both_its_years(
    day: date, is_south: bool, words: str
) -> None:
    assert say_season(day, is_south=is_south) == words


@given(st.dates(date(1951, 1, 1), date(2099, 12, 31)), st.booleans())
def test_a_day_lies_in_the_season_around_it(day: date, is_south: bool) -> None:
    span = DaySpan.season_around(day, is_south=is_south)

    assert span.first <= day <= span.last
    assert span.precision is Precision.SEASON


@given(st.integers(1951, 2099), st.integers(0, 2))
def test_the_thirds_of_a_year_follow_each_other_and_fill_it(year: int, third: int) -> None:
    whole = DaySpan.of_year(year)

    parts = [whole.third(number) for number in range(3)]
    assert (parts[0].first, parts[2].last) == (whole.first, whole.last)
    assert all(before.last + timedelta(days=1) == after.first for before, after in pairwise(parts))
    assert parts[third].whole_of_third(is_south=False) == (third, whole)
