"""Lays out how often coats were found worn against how often that was forecast, a row for each
fifth of the chance."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import bdtrik

from reminders.forecast import CalibrationBin

# Fifths of the chance in words that anyone knows.
CHANCE_LABELS = ("hardly", "unlikely", "about even", "likely", "nearly sure")
BINOMIAL_LEVEL = 0.9  # share of all times that chance alone stays inside the pale bar


@dataclass(frozen=True)
class ReliabilityRow:
    """One fifth: where its marks stand, in the units of the view box, and the words beside them."""

    words: str
    step: CalibrationBin
    top: float
    forecast_x: float
    found: float
    left: float
    width: float
    is_within: bool

    @property
    def middle(self) -> float:
        return self.top + ReliabilityDiagram.ROW / 2

    @property
    def worn(self) -> int:
        return round(self.step.visits * self.step.found)

    @property
    def expected(self) -> int:
        return round(self.step.visits * self.step.forecast)


@dataclass(frozen=True)
class ReliabilityDiagram:
    """Everything `reminders/_reliability.html` draws."""

    WIDTH = 360
    LEFT = 104.0
    RIGHT = 344.0
    TOP = 22.0
    ROW = 40.0

    rows: list[ReliabilityRow]
    key: str = "reliability"

    @property
    def height(self) -> float:
        return self.TOP + self.ROW * len(self.rows) + 10

    @property
    def bottom(self) -> float:
        return self.TOP + self.ROW * len(self.rows)

    @property
    def ticks(self) -> list[tuple[float, str]]:
        return [
            (share_x(share), f"{share:.0%}".replace("%", " %")) for share in (0, 0.25, 0.5, 0.75, 1)
        ]


def share_x(share: float) -> float:
    return round(
        ReliabilityDiagram.LEFT
        + min(max(share, 0.0), 1.0) * (ReliabilityDiagram.RIGHT - ReliabilityDiagram.LEFT),
        1,
    )


def merge_into_fifths(steps: Sequence[CalibrationBin]) -> list[CalibrationBin]:
    """The steps of the back-test gathered into fifths; those without visits are left out."""
    gathered = []
    for place in range(5):
        inside = [step for step in steps if int((step.low + step.high) / 2 * 5) == place]
        visits = sum(step.visits for step in inside)
        if visits:
            forecast = sum(step.visits * step.forecast for step in inside) / visits
            found = sum(step.visits * step.found for step in inside) / visits
            gathered.append(CalibrationBin(place / 5, (place + 1) / 5, visits, forecast, found))
    return gathered


def binomial_interval(visits: int, chance: float) -> tuple[float, float]:
    """Between which shares a right forecast stays nine times in ten (quantiles of the binomial
    law)."""
    chance = min(max(chance, 1e-9), 1 - 1e-9)
    ends = np.ceil(
        np.nan_to_num(bdtrik([(1 - BINOMIAL_LEVEL) / 2, (1 + BINOMIAL_LEVEL) / 2], visits, chance))
    )
    low, high = np.clip(ends, 0, visits) / visits
    return float(low), float(high)


def reliability_diagram(
    steps: Sequence[CalibrationBin], *, key: str = "reliability"
) -> ReliabilityDiagram:
    """Lay out one row for each fifth of the chance that was ever given."""
    rows = []
    for place, step in enumerate(merge_into_fifths(steps)):
        low, high = binomial_interval(step.visits, step.forecast)
        left = share_x(low)
        top = ReliabilityDiagram.TOP + ReliabilityDiagram.ROW * place
        rows.append(
            ReliabilityRow(
                CHANCE_LABELS[round(step.low * 5)],
                step,
                top,
                share_x(step.forecast),
                share_x(step.found),
                left,
                round(share_x(high) - left, 1),
                is_within=low - 1e-9 <= step.found <= high + 1e-9,
            )
        )
    return ReliabilityDiagram(rows, key)
