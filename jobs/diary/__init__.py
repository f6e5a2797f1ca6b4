"""Questions of the diary: which crew has room when, which weeks a client can choose, what runs go
where."""

from jobs.diary.booked_work import (
    BookingRequest,
    booked_decks,
    find_booking_request,
    hours_planned_for_job,
    litres_planned_for_job,
    offer_total_by_deck,
)
from jobs.diary.capacity import (
    CrewDayCapacities,
    CrewDayCapacity,
    active_crews,
    crew_day_capacities,
    days_between,
    holiday_places,
    monday_of,
)
from jobs.diary.placement import (
    MAX_BOOKING_SPAN_DAYS,
    MIN_BOOKING_HOURS,
    Placement,
    Proximity,
    placement_from_day,
    placements,
    placements_within_week,
)
from jobs.diary.season import (
    SEASON_WEEKS,
    Season,
    keep_expected_hours,
    next_booking_after,
    read_season,
)
from jobs.diary.suggestions import PlacementSuggestion, next_season_day, placement_suggestions
from jobs.diary.town_runs import TownRun, distance_apart_km, group_into_town_runs
from jobs.diary.unsettled import unsettled_work
from jobs.diary.week_agenda import CrewSchedule, DiaryStop, diary_week
from jobs.diary.week_capacity import (
    CrewHoursInWeek,
    WeekCapacity,
    crew_hours_by_month,
    crew_hours_by_week,
    week_capacities,
)

__all__ = [
    "MAX_BOOKING_SPAN_DAYS",
    "MIN_BOOKING_HOURS",
    "SEASON_WEEKS",
    "BookingRequest",
    "CrewDayCapacities",
    "CrewDayCapacity",
    "CrewHoursInWeek",
    "CrewSchedule",
    "DiaryStop",
    "Placement",
    "PlacementSuggestion",
    "Proximity",
    "Season",
    "TownRun",
    "WeekCapacity",
    "active_crews",
    "booked_decks",
    "crew_day_capacities",
    "crew_hours_by_month",
    "crew_hours_by_week",
    "days_between",
    "diary_week",
    "distance_apart_km",
    "find_booking_request",
    "group_into_town_runs",
    "holiday_places",
    "hours_planned_for_job",
    "keep_expected_hours",
    "litres_planned_for_job",
    "monday_of",
    "next_booking_after",
    "next_season_day",
    "offer_total_by_deck",
    "placement_from_day",
    "placement_suggestions",
    "placements",
    "placements_within_week",
    "read_season",
    "unsettled_work",
    "week_capacities",
]
