"""The pictures of a forecast: where things stand, what is left out, and that each says in words
what it shows."""

import re
from datetime import date, timedelta
from itertools import pairwise
from math import log
from xml.etree import ElementTree

import pytest
from django.template.loader import render_to_string
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import lognorm

from clients.display import override_business
from clients.models import Business
from reminders import pictures
from reminders.pictures import DueWindow, FoundGrade, MonthCount, WearFacts, coat_layers

COATED = date(2025, 9, 14)
TODAY = date(2026, 11, 25)
SVG = "{http://www.w3.org/2000/svg}"


def days(months: float) -> timedelta:
    return timedelta(days=round(months * 30.4375))


# Common practice, no source: of reference decks one in five is worn at 12 months and half at 16 (σ
# ≈ 0.342).
REFERENCE = lognorm(s=log(16 / 12) / 0.8416, scale=16)
WINDOW = DueWindow(*(COATED + days(REFERENCE.ppf(share)) for share in (0.2, 0.5, 0.8)))
CHANCES = [(COATED + days(month), float(REFERENCE.cdf(month))) for month in range(0, 49)]


def facts(**over: object) -> WearFacts:
    values = {"coat_on": COATED, "today": TODAY, "window": WINDOW, "chances": CHANCES} | over
    return WearFacts(**values)


def drawn(template: str, **context: object) -> str:
    with override_business(
        Business(name="Driftline Deck Care", locale="en_CA", currency="CAD", country="CA")
    ):
        return render_to_string(f"reminders/{template}", context)


def svg_of(html: str) -> ElementTree.Element:
    svg = re.search(r"<svg.*</svg>", html, re.DOTALL)
    assert svg
    return ElementTree.fromstring(  # noqa: S314 - of our own page
        svg[0].replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1)
    )


def places(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"([\d.]+) ([\d.]+)", path)]


# The wear curve


def test_the_curve_passes_the_window_marks_of_the_reference_deck() -> None:
    curve = pictures.wear_curve(facts())

    for mark in curve.window:
        assert mark.chance is not None
        months = (mark.on - COATED).days / 30.4375
        assert REFERENCE.cdf(months) == pytest.approx(mark.chance, abs=0.003)
        nearest = min(places(curve.curve), key=lambda place: abs(place[0] - mark.x))
        assert nearest[1] == pytest.approx(mark.y, abs=5)


def test_the_curve_runs_forward_and_never_down() -> None:
    line = places(pictures.wear_curve(facts()).curve)

    assert len(line) > 20
    assert all(
        later[0] >= earlier[0] and later[1] <= earlier[1] for earlier, later in pairwise(line)
    )


def test_today_stands_on_the_curve() -> None:
    curve = pictures.wear_curve(facts())

    assert curve.today is not None
    assert curve.today.chance == pytest.approx(
        REFERENCE.cdf((TODAY - COATED).days / 30.4375), abs=0.01
    )
    assert curve.early.x < curve.today.x < curve.early.x + curve.early.width


def test_a_deck_long_past_late_still_shows_today_inside_the_picture() -> None:
    curve = pictures.wear_curve(facts(today=COATED + timedelta(days=3000)))

    assert curve.today is not None
    assert curve.late.x + curve.late.width < curve.today.x < curve.RIGHT
    assert curve.today.anchor == "end"


def test_a_coat_dated_after_today_shows_no_today() -> None:
    assert pictures.wear_curve(facts(today=COATED - timedelta(days=1))).today is None


def test_a_grade_found_on_the_day_of_the_coat_belongs_to_the_coat_before() -> None:
    found = [
        FoundGrade(COATED + timedelta(days=300), 2),
        FoundGrade(COATED, 4),
        FoundGrade(COATED + timedelta(days=100), 1),
    ]

    marks = pictures.wear_curve(facts(found=found)).found

    assert [mark.grade for mark in marks] == [1, 2]
    assert marks[0].x < marks[1].x


def test_january_is_cold_in_the_north_and_warm_in_the_south() -> None:
    def warm_in(on: date, hemisphere: str) -> bool:
        curve = pictures.wear_curve(facts(hemisphere=hemisphere))
        x = curve.axis.x(on)
        return next(span.is_warm for span in curve.seasons if span.x <= x < span.x + span.width)

    assert not warm_in(date(2026, 1, 15), "north")
    assert warm_in(date(2026, 1, 15), "south")
    assert warm_in(date(2026, 7, 15), "north")
    assert not warm_in(date(2026, 7, 15), "south")


def test_the_seasons_cover_the_axis_without_gap() -> None:
    curve = pictures.wear_curve(facts())

    ends = [span.x + span.width for span in curve.seasons]
    assert curve.seasons[0].x == curve.LEFT
    assert ends[-1] == pytest.approx(curve.RIGHT)
    assert [span.x for span in curve.seasons[1:]] == pytest.approx(ends[:-1])


def test_years_are_named_at_their_first_of_january() -> None:
    curve = pictures.wear_curve(facts())

    assert [tick.label for tick in curve.years] == ["2026", "2027"]
    assert curve.years[0].x == curve.axis.x(date(2026, 1, 1))


def test_a_window_out_of_order_is_refused() -> None:
    with pytest.raises(ValueError, match="out of order"):
        DueWindow(TODAY, TODAY - timedelta(days=1), TODAY)


def test_a_curve_without_points_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one point"):
        pictures.wear_curve(facts(chances=[]))


@given(
    age=st.integers(-400, 9000),
    gaps=st.lists(st.integers(0, 2000), min_size=3, max_size=3),
    visits=st.lists(st.tuples(st.integers(-100, 9000), st.integers(0, 5)), max_size=5),
)
def test_nothing_is_ever_drawn_outside_the_picture(
    age: int, gaps: list[int], visits: list[tuple[int, int]]
) -> None:
    opens = COATED + timedelta(days=gaps[0])
    due = opens + timedelta(days=gaps[1])
    curve = pictures.wear_curve(
        facts(
            today=COATED + timedelta(days=age),
            window=DueWindow(opens, due, due + timedelta(days=gaps[2])),
            found=[FoundGrade(COATED + timedelta(days=day), grade) for day, grade in visits],
        )
    )

    marks = [*curve.window, *curve.found, *([curve.today] if curve.today else [])]
    assert all(curve.LEFT <= mark.x <= curve.RIGHT for mark in marks)
    assert all(
        curve.TOP <= y <= curve.BOTTOM and curve.LEFT <= x <= curve.RIGHT
        for x, y in places(curve.curve)
    )
    assert curve.early.width >= 0
    assert curve.late.width >= 0
    assert all(
        tick.x - other.x > 20 for other, tick in pairwise([t for t in curve.years if t.label])
    )


def test_the_wear_curve_says_in_words_what_it_shows() -> None:
    html = drawn(
        "_wear_curve.html",
        curve=pictures.wear_curve(facts(found=[FoundGrade(date(2026, 3, 2), 1)])),
    )

    svg = svg_of(html)
    assert svg.get("role") == "img"
    assert svg.find(f"{SVG}title") is not None
    assert svg.find(f"{SVG}desc") is not None
    assert f'id="{svg.get("aria-describedby")}"' in html
    assert "grade 1 on Mar 2, 2026" in html
    for mark in pictures.wear_curve(facts()).window:
        assert f"{mark.on:%b} {mark.on.day}, {mark.on.year}" in html


# Twelve months


def months(*counts: int) -> list[MonthCount]:
    first = [pictures.first_of_month(TODAY, place) for place in range(len(counts))]
    return [
        MonthCount(on, count, f"/due/{on:%Y-%m}/") for on, count in zip(first, counts, strict=True)
    ]


def test_bars_are_as_tall_as_their_counts() -> None:
    bars = pictures.month_strip(months(5, 10, 20), today=TODAY).bars

    assert bars[2].height == pytest.approx(2 * bars[1].height, abs=0.2)
    assert bars[1].height == pytest.approx(2 * bars[0].height, abs=0.2)
    assert bars[2].top == pictures.MonthStrip.TOP


def test_one_deck_beside_a_thousand_can_still_be_seen() -> None:
    one, none, _ = pictures.month_strip(months(1, 0, 1000), today=TODAY).bars

    assert one.height >= 4
    assert none.height == 0


def test_only_the_month_of_today_is_marked() -> None:
    bars = pictures.month_strip(months(*range(12)), today=TODAY, chosen=date(2027, 3, 1)).bars

    assert [bar.month for bar in bars if bar.is_now] == [date(2026, 11, 1)]
    assert [bar.month for bar in bars if bar.is_chosen] == [date(2027, 3, 1)]


def test_a_year_without_decks_draws_twelve_empty_months() -> None:
    strip = pictures.month_strip(months(*[0] * 12), today=TODAY)

    assert strip.total == 0
    assert strip.busiest is None
    assert len(svg_of(drawn("_month_strip.html", strip=strip)).findall(f"{SVG}a")) == 12


def test_every_bar_is_a_link_that_names_its_month_and_count() -> None:
    strip = pictures.month_strip(months(3, 1, *[0] * 10), today=TODAY)

    links = svg_of(drawn("_month_strip.html", strip=strip)).findall(f"{SVG}a")

    assert links[0].attrib == {
        "href": "/due/2026-11/",
        "aria-label": "November 2026: 3 decks due, this month",
    }
    assert links[1].attrib == {"href": "/due/2026-12/", "aria-label": "December 2026: 1 deck due"}


def test_a_bar_can_be_hit_with_a_thumb_on_a_narrow_phone() -> None:
    # WCAG 2.2, 2.5.8 Target Size (Minimum): 24 by 24 CSS pixels
    # (https://www.w3.org/TR/WCAG22/#target-size-minimum).
    narrowest = 360 - 2 * 16 - 2 * 17  # page padding, card padding and border
    assert pictures.MonthStrip.COLUMN * narrowest / pictures.MonthStrip.WIDTH >= 24


# The window on a row


def test_bars_of_a_list_share_one_axis() -> None:
    later = DueWindow(
        *(on + timedelta(days=200) for on in (WINDOW.opens_on, WINDOW.due_on, WINDOW.late_on))
    )

    one, other = (pictures.window_bar(window, today=TODAY) for window in (WINDOW, later))

    assert one.axis == other.axis
    assert one.today.x == other.today.x
    assert one.early.x < other.early.x
    assert one.axis.starts_on == date(2026, 5, 1)
    assert one.axis.ends_on == date(2028, 5, 1)


@pytest.mark.parametrize(
    ("shift", "is_before", "is_after"),
    [(-2000, True, False), (0, False, False), (2000, False, True)],
)
def test_a_window_beyond_the_axis_points_to_where_it_is(
    shift: int, is_before: bool, is_after: bool
) -> None:
    window = DueWindow(
        *(on + timedelta(days=shift) for on in (WINDOW.opens_on, WINDOW.due_on, WINDOW.late_on))
    )

    bar = pictures.window_bar(window, today=TODAY)

    assert (bar.is_before, bar.is_after) == (is_before, is_after)
    assert (bar.due is None) == (shift != 0)
    assert ("beyond" in drawn("_window_bar.html", bar=bar)) == (shift != 0)


def test_the_window_bar_is_named_by_its_three_dates() -> None:
    window = DueWindow(date(2026, 9, 14), date(2027, 1, 13), date(2027, 6, 18))

    html = drawn("_window_bar.html", bar=pictures.window_bar(window, today=TODAY, key="window-7"))

    title = svg_of(html).find(f"{SVG}title")
    assert title is not None
    assert title.attrib["id"] == "window-7-title"
    assert (
        title.text
        == "Window opens Sep 14, 2026, one in two worn by Jan 13, 2027, late from Jun 18, 2027"
    )


@pytest.mark.parametrize(
    ("template", "context"),
    [
        ("_wear_curve.html", {"curve": pictures.wear_curve(facts())}),
        ("_month_strip.html", {"strip": pictures.month_strip(months(1, 2), today=TODAY)}),
        ("_window_bar.html", {"bar": pictures.window_bar(WINDOW, today=TODAY)}),
    ],
)
def test_pictures_obey_the_content_security_policy(
    template: str, context: dict[str, object]
) -> None:
    html = drawn(template, **context)

    assert not re.search(r"\s(style|on\w+)=|<style|<script", html)


def test_coats_beyond_the_mark_are_drawn_beyond_it_and_very_many_are_cut_off() -> None:
    few, many = coat_layers(2, 6), coat_layers(42, 6)

    assert [layer.is_beyond for layer in few.layers] == [False, False]
    assert few.layers[-1].x + few.LAYER < few.mark_x < few.width
    assert [layer.is_beyond for layer in many.layers] == [False] * 6 + [True] * 6
    assert all((layer.x > many.mark_x) == layer.is_beyond for layer in many.layers)
    assert many.layers[-1].x + many.LAYER <= many.width
    assert coat_layers(0, 6).layers == []
