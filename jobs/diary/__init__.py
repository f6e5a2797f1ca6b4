"""Questions of the diary: which crew has room when, which weeks a client can choose, what runs go
where."""

from jobs.diary.capacity import (
    CrewDayCapacities,
    CrewDayCapacity,
    active_crews,
    crew_day_capacities,
    days_between,
    holiday_regions,
    monday_of,
)
from jobs.diary.placement import (
    Placement,
    placement_from_day,
    placements,
    placements_within_week,
)
from jobs.diary.week_capacity import (
    CrewHoursInWeek,
    WeekCapacity,
    crew_hours_by_week,
    week_capacities,
)

__all__ = [
    "CrewDayCapacities",
    "CrewDayCapacity",
    "CrewHoursInWeek",
    "Placement",
    "WeekCapacity",
    "active_crews",
    "crew_day_capacities",
    "crew_hours_by_week",
    "days_between",
    "holiday_regions",
    "monday_of",
    "placement_from_day",
    "placements",
    "placements_within_week",
    "week_capacities",
]
