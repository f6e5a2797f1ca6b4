"""Questions of the diary: which crew has room when, which weeks a client can choose, what runs go where."""

from jobs.diary.placing import Placement, placement_from_day, placements, placements_within_week
from jobs.diary.rooms import (
    CrewDayCapacities,
    CrewDayCapacity,
    active_crews,
    crew_day_capacities,
    holiday_regions,
    monday_of,
)
from jobs.diary.weeks import CrewHoursInWeek, WeekCapacity, crew_hours_by_week, week_capacities

__all__ = [
    "CrewDayCapacities",
    "CrewDayCapacity",
    "CrewHoursInWeek",
    "Placement",
    "WeekCapacity",
    "active_crews",
    "crew_day_capacities",
    "crew_hours_by_week",
    "holiday_regions",
    "monday_of",
    "placement_from_day",
    "placements",
    "placements_within_week",
    "week_capacities",
]
