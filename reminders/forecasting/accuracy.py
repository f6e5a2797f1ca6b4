"""What the Figures page says of the forecast in words:
was it right, which fit is in use and why, who came back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import Exists, OuterRef, Q

from clients import display
from jobs.models import GRADE_FIELDS, Coat, Visit
from reminders.forecast import MIN_FINISHED_COATS, WORN_CHANCES, CalibrationBin
from reminders.forecasting import bridge
from reminders.forecasting.evaluation import WORN_BY_COLUMNS
from reminders.forecasting.refitting import MIN_NEW_VISITS, REFUSED, fit_in_force
from reminders.models import LearnedStart, ModelFit
from reminders.pictures import ReliabilityDiagram, reliability_diagram

MAX_FITS_SHOWN = 12
DATE_WORDS = ("The window opens", "Half worn", "Late")
MIN_MEANINGFUL_VISITS = 50  # below that a picture shows mostly luck (judgement)
FORECAST_LABELS = {
    "learned": "This program, learning as it went",
    "prior": "Published figures alone, nothing learned",
    "flat_rule": "Every deck once a year",
    "finish_average": "The average of each kind of finish",
}


@dataclass(frozen=True)
class ScoredForecast:
    """One way of forecasting, and how it did."""

    name: str
    visits: int
    log_score: float
    brier: float
    is_best: bool


@dataclass(frozen=True)
class ReturnCounts:
    """Of coats whose window has closed, how many decks were coated again."""

    coats: int
    in_time: int
    later: int
    not_back: int

    @property
    def share(self) -> float | None:
        return self.in_time / self.coats if self.coats else None


@dataclass(frozen=True)
class GradeReading:
    """Along a path of wear: the share of its life that a coat which soaks in has behind it where
    the grades 1 and 2 begin, and by how much grades of the crew and of clients scatter."""

    one: float
    two: float
    crew: float
    client: float


@dataclass(frozen=True)
class UpkeepFigures:
    """What the decks cost a year: each coated at its own date, and each every twelve months."""

    decks: int
    own: Decimal
    flat: Decimal


@dataclass(frozen=True)
class AccuracyFigures:
    """The newest calculation; `fit` is the one tried then and `in_use` the one that forecasts rest
    on, None for the start: what other books learned, or the published figures."""

    fit: ModelFit
    in_use: ModelFit | None
    fits: Sequence[ModelFit]
    start: LearnedStart | None

    @property
    def is_refused(self) -> bool:
        """Whether forecasts rest on something else than what was learned last."""
        return self.in_use is None or self.in_use.pk != self.fit.pk

    @property
    def why_refused(self) -> str:
        """The reason alone."""
        return self.fit.why.removeprefix(f"{REFUSED}: ")

    @property
    def is_set_aside(self) -> bool:
        """Whether the last fit was in use, and a later version of the program no longer trusts
        it."""
        return self.is_refused and self.fit.is_in_use

    @property
    def stored(self) -> dict[str, Any]:
        figures: dict[str, Any] = self.fit.figures
        return figures

    @cached_property
    def learned(self) -> dict[str, Any]:
        return next(row for row in self.stored["scores"] if row["forecast"] == "learned")

    @property
    def is_meaningful(self) -> bool:
        visits: int = self.learned["visits"]
        return visits >= MIN_MEANINGFUL_VISITS

    @property
    def picture(self) -> ReliabilityDiagram:
        return reliability_diagram([CalibrationBin(**step) for step in self.stored["bins"]])

    @property
    def scores(self) -> list[ScoredForecast]:
        """The ways of forecasting, the best first."""
        scored = [row for row in self.stored["scores"] if row["log_score"] is not None]
        scored.sort(key=lambda row: row["log_score"])
        return [
            ScoredForecast(
                FORECAST_LABELS[row["forecast"]],
                row["visits"],
                row["log_score"],
                row["brier"],
                place == 0,
            )
            for place, row in enumerate(scored)
        ]

    @property
    def verdict(self) -> str:
        """Whether coats wore as forecast; a difference that luck explains is called none."""
        steps = [CalibrationBin(**step) for step in self.stored["bins"]]
        doubt = sum(step.visits * step.forecast * (1 - step.forecast) for step in steps) ** 0.5
        surplus = self.learned["observed"] - self.learned["expected"]
        if abs(surplus) <= 2 * doubt:
            return "Coats wore as forecast, as far as these checks can tell."
        return f"Coats wore {'sooner' if surplus > 0 else 'later'} than forecast."

    @property
    def worn_by(self) -> list[tuple[str, float, float]]:
        """Of each of the three dates its words, the share of coats that should be worn by then and
        the share that were; empty while too few were seen."""
        if self.learned.get(WORN_BY_COLUMNS[0]) is None:
            return []
        found: list[float] = [self.learned[name] for name in WORN_BY_COLUMNS]
        return list(zip(DATE_WORDS, WORN_CHANCES, found, strict=True))

    @property
    def upkeep(self) -> UpkeepFigures | None:
        """None while the prices or sizes are not known, or where they are in another currency."""
        stored = self.stored.get("upkeep")
        if not stored or stored["currency"] != display.current_business().currency:
            return None
        return UpkeepFigures(stored["decks"], Decimal(stored["own"]), Decimal(stored["flat"]))

    @property
    def returns(self) -> ReturnCounts:
        return ReturnCounts(**self.stored["returns"])

    @property
    def grades(self) -> GradeReading | None:
        """How the fit in use reads grades; None where they only say worn or not."""
        path = bridge.active_posterior().path
        if path is None:
            return None
        begins = path.life_shares()[0]
        crew, client = path.noises.tolist()
        return GradeReading(float(begins[0]), float(begins[1]), crew, client)

    @property
    def finished_coats_needed(self) -> int:
        return MIN_FINISHED_COATS


def newest_figures() -> AccuracyFigures | None:
    """From the newest fit; None before the first."""
    fits = list(ModelFit.objects.defer("parameters")[:MAX_FITS_SHOWN])
    if not fits:
        return None
    start = LearnedStart.objects.defer("parameters").first()
    return AccuracyFigures(fits[0], fit_in_force(), fits, start)


def count_graded_visits(*, today: date) -> int:
    """Visits that graded a coat, counted in one query;
    those of a coat with no finish recorded are counted too."""
    seen = Coat.objects.laid_before(OuterRef("visited_on")).filter(deck=OuterRef("deck"))
    graded = Q(*((f"{name}__isnull", False) for name in GRADE_FIELDS), _connector=Q.OR)
    return Visit.objects.filter(graded, Exists(seen), visited_on__lte=today).count()


def visits_still_needed(counted: int, last_time: int) -> int:
    """How many more graded visits until the program learns again."""
    return max(MIN_NEW_VISITS - (counted - last_time), 0)
