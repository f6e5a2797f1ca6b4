"""Months as columns: each made of parts that stand on each other, with a line for what there was
room for, or a span for what is not sure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Literal

from reminders.pictures.scale import grid_step

CountedIn = Literal["number", "money", "hours"]
NAMED_MONTHS = {1, 4, 7, 10}
SHADES = 4  # kinds of parts that can be told apart


@dataclass(frozen=True)
class MonthColumn:
    """What one month has: parts by name from the ground up, `ceiling` the line across, `span` from
    the least to the most that is likely."""

    month: date
    parts: Mapping[str, float]
    ceiling: float | None = None
    span: tuple[float, float] | None = None

    @property
    def height(self) -> float:
        return sum(self.parts.values())

    @property
    def top(self) -> float:
        return max(self.height, self.ceiling or 0.0, self.span[1] if self.span else 0.0)


@dataclass(frozen=True)
class ColumnPart:
    """A part as drawn, with the class of its look."""

    shade: str
    y: float
    height: float


@dataclass(frozen=True)
class DrawnColumn:
    """One month as drawn; lengths in the units of the view box."""

    month: date
    left: float
    width: float
    parts: Sequence[ColumnPart]
    ceiling_y: float | None
    span_y: tuple[float, float] | None

    @property
    def starts_year(self) -> bool:
        return self.month.month == 1

    @property
    def has_name(self) -> bool:
        """Every third month is named; there is no room for all."""
        return self.month.month in NAMED_MONTHS

    @property
    def middle(self) -> float:
        return round(self.left + self.width / 2, 1)


@dataclass(frozen=True)
class MonthColumns:
    """Everything `reminders/_month_columns.html` draws."""

    WIDTH = 372
    HEIGHT = 176
    LEFT = 40.0
    RIGHT = 370.0
    TOP = 12.0
    BOTTOM = 140.0

    columns: Sequence[DrawnColumn]
    levels: Sequence[tuple[float, int]]
    legend: Sequence[tuple[str, str]]
    counted_in: CountedIn
    ceiling_name: str = ""
    span_name: str = ""

    @property
    def shapes(self) -> list[tuple[str, str]]:
        """Look and outline of all parts that look alike, as one path each."""
        outlines: dict[str, list[str]] = {shade: [] for shade, _ in self.legend}
        for column in self.columns:
            for part in column.parts:
                outlines[part.shade].append(
                    f"M{column.left} {part.y}h{column.width}v{part.height}h-{column.width}z"
                )
        return [(shade, "".join(lines)) for shade, lines in outlines.items() if lines]

    @property
    def ceilings(self) -> str:
        """What there was room for, as one path."""
        return "".join(
            f"M{column.left} {column.ceiling_y}h{column.width}"
            for column in self.columns
            if column.ceiling_y is not None
        )

    @property
    def spans(self) -> str:
        """What is likely, as one path."""
        return "".join(
            f"M{column.middle} {column.span_y[0]}V{column.span_y[1]}"
            for column in self.columns
            if column.span_y
        )

    @property
    def named(self) -> list[DrawnColumn]:
        """The columns that have a name below."""
        return [column for column in self.columns if column.has_name]


def month_columns(
    months: Sequence[MonthColumn],
    *,
    counted_in: CountedIn = "number",
    ceiling_name: str = "",
    span_name: str = "",
) -> MonthColumns:
    """Lay out the months in the order they are given; every month names the same parts."""
    most = max((each.top for each in months), default=0.0)
    step = grid_step(most)
    top = max(step, -(-most // step) * step)
    names = list(months[0].parts) if months else []
    shades = {name: f"shade-{place % SHADES}" for place, name in enumerate(names)}
    wide = (MonthColumns.RIGHT - MonthColumns.LEFT) / max(len(months), 1)
    drawn = [
        draw_column(each, MonthColumns.LEFT + place * wide, wide * 0.8, top, shades)
        for place, each in enumerate(months)
    ]
    return MonthColumns(
        drawn,
        [(column_y(value, top), value) for value in range(0, int(top) + 1, step)],
        [(shade, name) for name, shade in shades.items()],
        counted_in,
        ceiling_name,
        span_name,
    )


def column_y(value: float, top: float) -> float:
    span = MonthColumns.BOTTOM - MonthColumns.TOP
    return round(MonthColumns.BOTTOM - span * value / top, 1)


def draw_column(
    column: MonthColumn, left: float, width: float, top: float, shades: Mapping[str, str]
) -> DrawnColumn:
    parts = []
    reached = 0.0
    for name, value in column.parts.items():
        upper = column_y(reached + value, top)
        height = round(column_y(reached, top) - upper, 1)
        if height > 0:
            parts.append(ColumnPart(shades[name], upper, height))
        reached += value
    return DrawnColumn(
        month=column.month,
        left=round(left, 1),
        width=round(width, 1),
        parts=parts,
        ceiling_y=column_y(column.ceiling, top) if column.ceiling else None,
        span_y=(
            (column_y(column.span[0], top), column_y(column.span[1], top)) if column.span else None
        ),
    )
