"""A day of which not everything is known, as people say it."""

from datetime import date

from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clients import display
from jobs.partial_dates import AUTUMN, SPRING, SUMMER, WINTER, DaySpan, Precision

SEASON_WORDS = {
    SPRING: _("spring {year}"),
    SUMMER: _("summer {year}"),
    AUTUMN: _("autumn {year}"),
    WINTER: _("winter {year}"),
}
THIRD_WORDS = [_("early {time}"), _("mid-{time}"), _("late {time}")]


def say_span(span: DaySpan, *, is_south: bool) -> str:
    """“Jun 12, 2025”, “March 2023”, “spring 2021”, “winter 2021/22”, “2019”, “early 2021”,
    “2018 to 2020”; in the language in force."""
    match span.precision:
        case Precision.DAY:
            return display.format_day(span.last)
        case Precision.MONTH:
            return display.format_month(span.first)
        case Precision.SEASON:
            words = str(SEASON_WORDS[span.season(is_south=is_south)])
            return words.format(year=season_year(span))
        case Precision.YEAR:
            return str(span.first.year)
    if found := span.whole_of_third(is_south=is_south):
        number, whole = found
        return str(THIRD_WORDS[number]).format(time=say_span(whole, is_south=is_south))
    if span.is_whole_years:
        ends = [str(day.year) for day in (span.first, span.last)]
    else:
        write = display.format_month if span.whole_months else display.format_day
        ends = [write(day) for day in (span.first, span.last)]
    return gettext("{first} to {last}").format(first=ends[0], last=ends[1])


def say_season(day: date, *, is_south: bool) -> str:
    """“spring 2029”; one over New Year by both its years, “winter 2028/29”."""
    return say_span(DaySpan.season_around(day, is_south=is_south), is_south=is_south)


def say_coats(number: int | None) -> str:
    """“2 coats”, or that nobody counted them; for people of the business."""
    if number is None:
        return "coats not counted"
    return f"{number} coat{'' if number == 1 else 's'}"


def season_year(span: DaySpan) -> str:
    """“2021”, or “2021/22” for a season over New Year."""
    first, last = span.first.year, span.last.year
    return str(first) if first == last else f"{first}/{last % 100:02d}"
