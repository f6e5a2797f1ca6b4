"""The bridge: rows of the book → arrays → the numerical core → forecasts, written back by COPY."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime
from itertools import pairwise

import numpy as np
from django.db import connection, transaction

from clients.models import Deck
from clients.models.deck import SPECIES_CLASS
from clients.places import climate
from reminders import forecast
from reminders.forecast import Floats
from reminders.forecasting import active_fit
from reminders.forecasting.coats import NewestCoats, postgres_array, read_newest_coats

DECKS_A_TRANSACTION = 25_000  # decks at a time: bounds memory and how long a row stays locked
MID_MONTH_DAYS = (
    30.4 * np.arange(1, 13) - 15
)  # day of the year that stands for a month, FAO-56 eq. 22 and its note
EPOCH_ORDINAL = date(1970, 1, 1).toordinal()
COPY_NULL = "\\N"  # in the text format of COPY
MAX_FORECAST_DAYS = (
    60 * 365
)  # a forecast further off than this says "not in our time" and is cut off there
PREPARATION_OF_JOB_KIND = {"strip": "strip", "recoat": "clean"}
COPIED_COLUMNS = (
    "deck_id, job_id, model_version, computed_at, computed_on, window_opens_on, due_on, late_on,"
    " chance_worn, median_months, log_sd, reference_months, contributions, prior_share, coat_build,"
    " sound_on"
)


def store_forecasts(*, deck_ids: Iterable[int] | None, today: date, now: datetime) -> int:
    """Bring the forecasts of some decks, or of all, up to date;
    returns how many decks have one now.

    `today` is the date at the business: a deck on the other side of the date line may be a day off,
    which no forecast can tell. Each chunk is one transaction (or part of the caller's).
    """
    chosen = (
        sorted(deck_ids)
        if deck_ids is not None
        else list(Deck.objects.order_by("pk").values_list("pk", flat=True))
    )
    return sum(
        store_forecast_chunk(chosen[at : at + DECKS_A_TRANSACTION], today, now)
        for at in range(0, len(chosen), DECKS_A_TRANSACTION)
    )


def analyze_forecast_table() -> None:
    """Tell the planner that the table was written anew;
    until it knows, the due list takes twice as long."""
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE reminders_forecast")


@transaction.atomic
def store_forecast_chunk(deck_ids: Sequence[int], today: date, now: datetime) -> int:
    lock_decks(deck_ids)
    coats = read_newest_coats(deck_ids, today=today)
    # Reckoned before COPY starts: it asks for the fit in use, and a connection that copies can
    # answer nothing else.
    written = (
        "".join(copy_lines(coats, predict_newest_coats(coats, today=today), today, now))
        if coats
        else ""
    )
    with connection.cursor() as cursor:
        cursor.execute(
            "DELETE FROM reminders_forecast WHERE deck_id = ANY (%s::bigint[])",
            [postgres_array(deck_ids)],
        )
        with cursor.copy(f"COPY reminders_forecast ({COPIED_COLUMNS}) FROM STDIN") as copy:
            copy.write(written)
    return len(coats) if coats else 0


def lock_decks(deck_ids: Sequence[int]) -> None:
    """Two refreshes of one deck follow each other, so that the later one sees the other's job:
    the newest coat wins."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT FROM clients_deck WHERE id = ANY (%s::bigint[]) ORDER BY id FOR NO KEY UPDATE",
            [postgres_array(deck_ids)],
        )


def predict_newest_coats(coats: NewestCoats, *, today: date) -> forecast.Prediction:
    """What the core says of these coats on this day."""
    return forecast.predict(
        core_coats(coats, today=today), active_fit.active_posterior(), epoch_days(today)
    )


def epoch_days(value: date | None) -> float:
    """Days since 1970-01-01, the core's calendar."""
    return np.nan if value is None else value.toordinal() - EPOCH_ORDINAL


def core_coats(coats: NewestCoats, *, today: date) -> forecast.Coats:
    """The rows in the core's words; what was not recorded is as on the reference deck."""
    sun, wet_days = monthly_climate(coats)
    return forecast.Coats(
        deck=coats.deck_id,
        coated_on=np.minimum([epoch_days(day) for day in coats.finished_on], epoch_days(today)),
        sound_on=[epoch_days(day) for day in coats.sound_on],
        worn_on=[epoch_days(day) for day in coats.worn_on],
        latitude=coats.latitude,
        sun=sun,
        wet_days=wet_days,
        finish_class=[value or "penetrating_oil" for value in coats.finish_class],
        pigment=[value or "none" for value in coats.pigment],
        base=[value or "water" for value in coats.base],
        coats=[value or 2 for value in coats.coats],
        preparation=[PREPARATION_OF_JOB_KIND[kind] for kind in coats.kind],
        species_class=[SPECIES_CLASS[species] for species in coats.species],
        roof_cover=np.array(coats.roof_percent) / 100,
        summer_shade=np.array(coats.summer_shade_percent) / 100,
        winter_shade=np.array(coats.winter_shade_percent) / 100,
        orientation=np.array(coats.orientation_deg, dtype=float),
        height=np.array(coats.height_m, dtype=float),
        **{
            name: getattr(coats, name)
            for name in ("texture", "airflow", "traffic", "salt", "pool", "litter")
        },
    )


def monthly_climate(coats: NewestCoats) -> tuple[Floats, Floats]:
    """Sun and wet days by month; the owner's own wet days stand in place of the estimate."""
    places, place = np.unique(
        np.column_stack([coats.latitude, coats.longitude]), axis=0, return_inverse=True
    )
    normals = climate.normals(places[:, 0], places[:, 1])
    above_air = forecast.extraterrestrial_radiation(places[:, :1], MID_MONTH_DAYS)
    on_ground = forecast.radiation_from_sunshine(normals.sunshine_fraction, above_air)
    sun = forecast.SUNSHINE_BIAS * on_ground
    wet_days = normals.wet_days.astype(float)[place]
    for row, own in enumerate(coats.wet_days):
        if own is not None:
            wet_days[row] = own
    return sun[place], wet_days


def copy_lines(
    coats: NewestCoats, found: forecast.Prediction, today: date, now: datetime
) -> Iterator[str]:
    """The rows of COLUMNS in the text format of COPY."""
    fixed = f"{found.version}\t{now.isoformat()}\t{today.isoformat()}"
    opens, due, late = (
        iso_dates(each, coats) for each in (found.window_opens, found.due_by, found.late)
    )
    chances = np.clip(found.chance_worn_today, 0, 1).tolist()
    shares = np.clip(found.prior_share, 0, 1).tolist()
    numbers = zip(chances, found.median_months.tolist(), found.log_sd.tolist(), strict=True)
    rows = zip(
        coats.deck_id,
        coats.job_id,
        opens,
        due,
        late,
        numbers,
        contributions_as_json(found),
        shares,
        strict=True,
    )
    reference = found.reference_months
    for (deck, job, first, middle, last, (chance, median, spread), why, share), build, sound in zip(
        rows, coats.build, coats.sound_on, strict=True
    ):
        yield (
            f"{deck}\t{job}\t{fixed}\t{first}\t{middle}\t{last}\t{chance}\t{median}\t{spread}\t{reference}\t{why}"
            f"\t{share}\t{min(build, 32767)}\t{sound or COPY_NULL}\n"
        )


def iso_dates(day: Floats, coats: NewestCoats) -> list[str]:
    """Days of the core as ISO dates, no further than LONGEST_DAYS from the coat."""
    start = np.array([epoch_days(each) for each in coats.finished_on])
    whole = np.floor(np.clip(np.nan_to_num(day, nan=np.inf), start, start + MAX_FORECAST_DAYS))
    days: list[str] = np.datetime_as_string(whole.astype("datetime64[D]")).tolist()
    return days


def contributions_as_json(found: forecast.Prediction) -> Iterator[str]:
    """The months that each factor adds or takes away, to a tenth, as JSON;
    factors without effect are left out."""
    tenths = np.rint(found.contributions * 10).astype(int)
    row, factor = np.nonzero(tenths)
    base = np.abs(tenths).max(initial=0) * 2 + 1
    keys, place = np.unique(factor * base + tenths[row, factor] + base // 2, return_inverse=True)
    words = [
        f'"{forecast.FACTORS[key // base]}": {(key % base - base // 2) / 10}'
        for key in keys.tolist()
    ]
    parts = np.array(words, dtype=object)[place].tolist()
    edges = np.searchsorted(row, np.arange(len(tenths) + 1)).tolist()
    return ("{" + ", ".join(parts[start:end]) + "}" for start, end in pairwise(edges))
