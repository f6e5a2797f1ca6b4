"""`manage.py forecast DECK_ID`: when the finish of one deck is due, how sure that is and, with
--explain, why."""

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import CommandError

from clients import display
from clients.management.opening import BookCommand
from clients.models import Deck
from clients.tables import add_format_option, write_rows
from reminders.forecasting import factor_phrase
from reminders.management.arguments import require_business
from reminders.models import Forecast

COLUMNS = [
    "deck_id",
    "client",
    "deck",
    "street",
    "town",
    "coated_on",
    "window_opens_on",
    "half_worn_on",
    "due_on",
    "late_on",
    "look_on",
    "strip_on",
    "chance_worn",
    "median_months",
    "log_sd",
    "reference_months",
    "prior_share",
    "coat_build",
    "sound_on",
    "model_version",
    "computed_on",
]
EXPLAIN_COLUMNS = ["factor", "words", "months"]
STORED_COLUMNS = [
    name for name in COLUMNS if name in {field.name for field in Forecast._meta.fields}
]


class Command(BookCommand):
    help = (
        "Say when the finish of a deck is due; --explain gives the months that each factor adds or"
        " takes away."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "deck_id", type=int, help="Number of the deck, as in the address of its page."
        )
        parser.add_argument(
            "--explain", action="store_true", help="One row a factor instead of one row."
        )
        add_format_option(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        forecast = forecast_or_error(options["deck_id"])
        rows, columns = (
            ([forecast_row(forecast)], COLUMNS)
            if not options["explain"]
            else (factor_rows(forecast), EXPLAIN_COLUMNS)
        )
        with display.override_business(require_business()):
            write_rows(rows, format=options["format"], out=self.stdout, columns=columns)


def forecast_or_error(deck_id: int) -> Forecast:
    forecast = (
        Forecast.objects.filter(deck=deck_id)
        .select_related("deck__site__client", "job__deck__site")
        .first()
    )
    if forecast is not None:
        return forecast
    if Deck.objects.filter(pk=deck_id).exists():
        raise CommandError(
            f"Deck {deck_id} has no forecast: no strip or recoat is logged, or the deck is"
            " archived."
        )
    raise CommandError(
        f"There is no deck {deck_id}. `manage.py history` finds a deck's number by any words."
    )


def forecast_row(forecast: Forecast) -> dict[str, Any]:
    place = forecast.deck.site
    return {name: getattr(forecast, name) for name in STORED_COLUMNS} | {
        "deck_id": forecast.deck_id,
        "client": place.client.name,
        "deck": forecast.deck.label,
        "street": place.street,
        "town": place.town,
        "coated_on": forecast.job.edtf,
        "chance_worn": round(forecast.chance_worn, 3),
        "median_months": round(forecast.median_months, 2),
        "reference_months": round(forecast.reference_months, 2),
        "log_sd": round(forecast.log_sd, 3),
    }


def factor_rows(forecast: Forecast) -> list[dict[str, Any]]:
    """From the reference deck to this one:
    the first row, the factors strongest first, and what they come to."""
    told = sorted(forecast.contributions.items(), key=lambda pair: -abs(pair[1]))
    rows = [
        {"factor": name, "words": factor_phrase(name, months), "months": months}
        for name, months in told
    ]
    start = {
        "factor": "reference",
        "words": "the reference deck",
        "months": round(forecast.reference_months, 1),
    }
    total = forecast.reference_months + sum(forecast.contributions.values())
    return [
        start,
        *rows,
        {
            "factor": "total",
            "words": "this deck, in months of average wear",
            "months": round(total, 1),
        },
    ]
