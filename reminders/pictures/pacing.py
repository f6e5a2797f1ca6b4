"""The picture of a plan: for each week the hours of the crews, what is booked, and what is expected
from each town."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from reminders.pictures.scale import grid_step

MIN_HOURS_STEP = 2  # between the hours written at the side
MAX_COLOURED_TOWNS = 5  # with a colour of their own; the others share one
OTHER_TOWNS_LABEL = "other towns"


@dataclass(frozen=True)
class PacingWeek:
    """What one week has."""

    monday: date
    hours_open: float
    hours_booked: float
    by_town: Mapping[str, float]
    reminders: int


@dataclass(frozen=True)
class BarSegment:
    """A part of a bar."""

    name: str
    shade: str
    hours: float
    top: float
    height: float


@dataclass(frozen=True)
class PacingBar:
    """One week as drawn."""

    monday: date
    left: float
    width: float
    segments: Sequence[BarSegment]
    hours_open: float
    hours: float
    open_y: float
    reminders: int
    reminders_height: float
    label: str

    @property
    def middle(self) -> float:
        return round(self.left + self.width / 2, 1)

    @property
    def right(self) -> float:
        return round(self.left + self.width, 1)


@dataclass(frozen=True)
class PacingPicture:
    """Everything `reminders/_pacing_picture.html` draws."""

    WIDTH = 372
    HEIGHT = 236
    LEFT = 26.0
    RIGHT = 370.0
    TOP = 12.0
    BOTTOM = 150.0
    BELOW = 178.0
    DEEPEST = 34.0

    bars: list[PacingBar]
    levels: list[tuple[float, int]]
    legend: list[tuple[str, str]]
    max_reminders: int
    key: str = "pacing"


@dataclass(frozen=True)
class PacingScale:
    """What all bars are drawn to: the width of a week, the hours at the top, the most reminders of
    a week, and the colour of each town."""

    wide: float
    top: float
    max_reminders: int
    shades: Mapping[str, str]


def pacing_picture(columns: Sequence[PacingWeek], *, key: str = "pacing") -> PacingPicture:
    """Lay out the weeks; hours grow upwards, reminders hang below the line."""
    most = max(
        (max(each.hours_open, each.hours_booked + sum(each.by_town.values())) for each in columns),
        default=0,
    )
    step = grid_step(most, least=MIN_HOURS_STEP)
    top = max(step, -(-most // step) * step)
    shades = town_shades(columns)
    reminders = max((each.reminders for each in columns), default=0)
    wide = (PacingPicture.RIGHT - PacingPicture.LEFT) / max(len(columns), 1)
    scale = PacingScale(wide, top, reminders, shades)
    bars = [
        pacing_bar(place, each, scale, label)
        for place, (each, label) in enumerate(zip(columns, month_labels(columns), strict=True))
    ]
    levels = [(hours_y(hours, top), hours) for hours in range(0, int(top) + 1, step)]
    named = [(shade, name) for name, shade in shades.items()]
    if any(set(each.by_town) - set(shades) for each in columns):
        named.append(("town-other", OTHER_TOWNS_LABEL))
    if any(each.hours_booked for each in columns):
        named.insert(0, ("is-booked", "booked"))
    return PacingPicture(bars, levels, named, reminders, key)


def town_shades(columns: Sequence[PacingWeek]) -> dict[str, str]:
    """The towns with most hours, each with the name of its colour."""
    hours: Counter[str] = Counter()
    for each in columns:
        hours.update(each.by_town)
    return {
        name: f"town-{place}"
        for place, (name, _) in enumerate(hours.most_common(MAX_COLOURED_TOWNS))
    }


def hours_y(hours: float, top: float) -> float:
    return round(PacingPicture.BOTTOM - (PacingPicture.BOTTOM - PacingPicture.TOP) * hours / top, 1)


def month_labels(columns: Sequence[PacingWeek]) -> list[str]:
    """The name of the month below its first week, nothing below the others."""
    months = [column.monday.month for column in columns]
    return [
        f"{column.monday:%b}" if before != column.monday.month else ""
        for before, column in zip([0, *months], columns, strict=False)
    ]


def pacing_bar(place: int, column: PacingWeek, scale: PacingScale, label: str) -> PacingBar:
    shades = scale.shades
    top = scale.top
    parts = [("booked", "is-booked", column.hours_booked)] if column.hours_booked else []
    parts += [
        (name, shades[name], column.by_town[name]) for name in shades if name in column.by_town
    ]
    if others := sum(hours for name, hours in column.by_town.items() if name not in shades):
        parts.append((OTHER_TOWNS_LABEL, "town-other", others))
    pieces = []
    reached = 0.0
    for name, shade, hours in parts:
        upper = hours_y(reached + hours, top)
        pieces.append(
            BarSegment(name, shade, hours, upper, round(hours_y(reached, top) - upper, 1))
        )
        reached += hours
    most = scale.max_reminders
    deep = PacingPicture.DEEPEST * column.reminders / most if most else 0.0
    return PacingBar(
        column.monday,
        round(PacingPicture.LEFT + place * scale.wide, 2),
        round(scale.wide * 0.84, 2),
        pieces,
        column.hours_open,
        reached,
        hours_y(column.hours_open, top),
        column.reminders,
        round(deep, 1),
        label,
    )
