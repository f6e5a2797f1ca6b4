"""The wear curve of one deck: the core asked for the chance of being worn at many dates, and what
visits found."""

from datetime import date, timedelta

import numpy as np

from clients.models import Surface
from reminders import forecast
from reminders.forecasting import bridge
from reminders.forecasting.bridge import NewestCoats
from reminders.forecasting.surfaces import belief_about, read_leading_coats
from reminders.models import Forecast
from reminders.pictures import DueWindow, FoundGrade, WearCurve, WearFacts, wear_curve

CURVE_POINTS = 48


def forecast_wear_curve(
    row: Forecast, *, today: date, key: str = "wear", coats: NewestCoats | None = None
) -> WearCurve:
    """The curve from the coat to past the end of the window, in the state of the stored forecast.
    `coats` is the coat that it tells of alone, read where it is not given."""
    window = DueWindow(row.window_opens_on, row.half_worn_on, row.late_on)
    coat_on = min(row.job.span.middle, today)
    found = [
        FoundGrade(visit.visited_on, grade)
        for visit in row.deck.visits.all()
        if row.job.finished_on < visit.visited_on <= today and (grade := visit.grade) is not None
    ]
    if row.surface != Surface.BOARDS:  # nobody grades these
        found = []
    chances = worn_chances(row, coat_on, today, coats)
    hemisphere = "south" if row.deck.site.latitude < 0 else "north"
    words = row.job.day_words if row.job.finished_from else ""
    return wear_curve(WearFacts(coat_on, today, window, chances, found, hemisphere, key, words))


def worn_chances(
    row: Forecast, coat_on: date, today: date, coats: NewestCoats | None = None
) -> list[tuple[date, float]]:
    """Rising pairs of date and chance; between two inspections that disagree, the window itself."""
    sound_on = max(row.sound_on or coat_on, coat_on)
    start = [(coat_on, 0.0), (sound_on, 0.0)]
    if row.chance_worn >= 1:
        return [
            *start,
            (row.window_opens_on, 0.2),
            (row.half_worn_on, 0.5),
            (row.late_on, 0.8),
            (today, 1.0),
        ]
    belief = belief_about(row.surface)
    if belief.path:
        # Along a path of wear a sound visit makes it less likely that the coat was worn before,
        # and no more than that.
        sound_on = coat_on
        start = [(coat_on, 0.0)]
    last = max(row.late_on, today)
    end = last + (last - coat_on) / 3 + timedelta(days=60)
    days = np.linspace(bridge.epoch_days(sound_on), bridge.epoch_days(end), CURVE_POINTS).round()
    coats = coats or read_leading_coats({row.deck_id: row.surface}, today=today)
    if coats is None:
        return start
    core = bridge.core_coats(coats, today=today)
    (chance,) = forecast.worn_chances_by_day(core, belief, days.tolist())
    dates = [date.fromordinal(int(day) + bridge.EPOCH_ORDINAL) for day in days]
    return start + list(zip(dates, np.clip(chance, 0, 1).tolist(), strict=True))
