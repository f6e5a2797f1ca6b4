"""Questions of the diary: which crew has room when, which weeks a client can choose, what runs go where."""

from jobs.diary.placing import Placement, place, placements, within_week
from jobs.diary.rooms import Room, Rooms, crews_going_out, monday_of, places_of, rooms
from jobs.diary.weeks import WeekHours, WeekRoom, hours_by_week, weeks_with_room

__all__ = [
    "Placement",
    "Room",
    "Rooms",
    "WeekHours",
    "WeekRoom",
    "crews_going_out",
    "hours_by_week",
    "monday_of",
    "place",
    "placements",
    "places_of",
    "rooms",
    "weeks_with_room",
    "within_week",
]
