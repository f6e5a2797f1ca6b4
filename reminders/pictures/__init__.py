"""Lays out pictures as plain numbers for templates to draw; knows no Django and no clock."""

from reminders.pictures.coat_layers import CoatLayer, CoatLayers, coat_layers
from reminders.pictures.deck_map import DeckMap, MapDeck, deck_map
from reminders.pictures.month_columns import (
    CountedIn,
    MonthColumn,
    MonthColumns,
    month_columns,
)
from reminders.pictures.months import MonthBar, MonthCount, MonthStrip, month_strip
from reminders.pictures.pacing import PacingPicture, PacingWeek, pacing_picture
from reminders.pictures.reliability import ReliabilityDiagram, reliability_diagram
from reminders.pictures.time_axis import DueWindow, first_of_month
from reminders.pictures.wear import FoundGrade, WearCurve, WearFacts, chance_on, wear_curve
from reminders.pictures.window_bar import WindowBar, window_bar

__all__ = [
    "CoatLayer",
    "CoatLayers",
    "CountedIn",
    "DeckMap",
    "DueWindow",
    "FoundGrade",
    "MapDeck",
    "MonthBar",
    "MonthColumn",
    "MonthColumns",
    "MonthCount",
    "MonthStrip",
    "PacingPicture",
    "PacingWeek",
    "ReliabilityDiagram",
    "WearCurve",
    "WearFacts",
    "WindowBar",
    "chance_on",
    "coat_layers",
    "deck_map",
    "first_of_month",
    "month_columns",
    "month_strip",
    "pacing_picture",
    "reliability_diagram",
    "wear_curve",
    "window_bar",
]
