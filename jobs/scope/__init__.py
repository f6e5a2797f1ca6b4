"""What is to be done on a deck, worked out from its history:
the work, the finish, the materials, the steps.

`propose_scopes` answers for many decks in a fixed number of queries.
"""

from jobs.scope.checklist import NO_READING, SiteReading, weather_checklist
from jobs.scope.crew_round import (
    CrewRound,
    map_url,
    on_the_way_key,
    phone_numbers_of,
    read_crew_rounds,
)
from jobs.scope.day_kit import DayKit, kit_for
from jobs.scope.definitions import Need, Override, Scope, WorkStep, cost_of_needs
from jobs.scope.needs import Supply, need_from_supply, surfaces_of
from jobs.scope.outline import Outline, OutlineFacts, outlines, read_outline_facts, work_advice
from jobs.scope.proposal import propose_scope, propose_scopes
from jobs.scope.purchase import booked_scopes
from jobs.scope.shelf import load_shelf
from jobs.scope.visit_weather import (
    VisitsWeather,
    VisitWeather,
    read_visits_weather,
    weather_of_booked_coat,
)

__all__ = [
    "NO_READING",
    "CrewRound",
    "DayKit",
    "Need",
    "Outline",
    "OutlineFacts",
    "Override",
    "Scope",
    "SiteReading",
    "Supply",
    "VisitWeather",
    "VisitsWeather",
    "WorkStep",
    "booked_scopes",
    "cost_of_needs",
    "kit_for",
    "load_shelf",
    "map_url",
    "need_from_supply",
    "on_the_way_key",
    "outlines",
    "phone_numbers_of",
    "propose_scope",
    "propose_scopes",
    "read_crew_rounds",
    "read_outline_facts",
    "read_visits_weather",
    "surfaces_of",
    "weather_checklist",
    "weather_of_booked_coat",
    "work_advice",
]
