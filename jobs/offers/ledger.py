"""What was agreed, done and charged: each done job, and each accepted offer, as rows for the page
and for any ledger. The program itself writes no invoices and takes no payments."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Prefetch, QuerySet

from clients import display
from jobs.diary import offer_total_by_deck
from jobs.models import Booking, Job, Offer, OfferScope
from jobs.offers.terms import deposit_of_offer

JOB_COLUMNS = [
    *("job_id", "finished_on", "kind", "client_id", "client", "deck_id", "deck", "street", "town"),
    *("offer", "agreed", "agreed_visit", "charged", "currency"),
    *("payment", "settled_on"),
]
OFFER_COLUMNS = [
    *("offer", "changes_offer", "client_id", "client", "street", "town", "sent_on", "accepted_on"),
    *("accepted_by", "currency", "net", "tax", "total", "taxes", "deposit", "done"),
]


@dataclass(frozen=True)
class JobMoney:
    """A done job with what was agreed for it: the deck's share of its offer, and the whole visit
    with the changes that were accepted; None where there was no offer."""

    job: Job
    offer: Offer | None = None
    agreed: Decimal | None = None
    agreed_visit: Decimal | None = None

    @property
    def row(self) -> dict[str, Any]:
        """For a file; keys are `JOB_COLUMNS`."""
        job = self.job
        return {
            "job_id": job.pk,
            "finished_on": job.edtf,
            "kind": job.kind,
            "client_id": job.deck.site.client_id,
            "client": job.deck.site.client.name,
            "deck_id": job.deck_id,
            "deck": job.deck.label,
            "street": job.deck.site.street,
            "town": job.deck.site.town,
            "offer": self.offer.reference if self.offer else "",
            "agreed": self.agreed,
            "agreed_visit": self.agreed_visit,
            "charged": job.amount,
            "currency": job.currency or (self.offer.currency if self.offer else ""),
            "payment": job.payment,
            "settled_on": job.settled_on,
        }


def jobs_with_money() -> QuerySet[Job]:
    """With all that `money_of_job` reads, in a fixed number of queries; those that are known to be
    open first, then the newest."""
    scopes = OfferScope.objects.prefetch_related("lines")
    accepted = Offer.objects.filter(state=Offer.State.ACCEPTED)
    bookings = (
        Booking.objects.exclude(offer=None)
        .select_related("offer")
        .prefetch_related(
            "decks",
            Prefetch("offer__scopes", scopes),
            Prefetch("offer__change_orders", accepted, to_attr="accepted_orders"),
        )
    )
    rows = Job.objects.select_related("deck__site__client")
    return rows.prefetch_related(Prefetch("bookings", bookings)).order_by(
        "-is_unpaid", "-finished_on", "-id"
    )


class JobLedger(Sequence[JobMoney]):
    """All done jobs with their money, read a page at a time."""

    def __init__(self) -> None:
        self.jobs = jobs_with_money()

    def __len__(self) -> int:
        return self.jobs.count()

    def __getitem__(self, place: Any) -> Any:
        if isinstance(place, slice):  # first which, by the index, then all that is read of them
            shown = list(self.jobs.values_list("pk", flat=True)[place])
            return [money_of_job(job) for job in self.jobs.filter(pk__in=shown)]
        return money_of_job(self.jobs[place])


def money_of_job(job: Job) -> JobMoney:
    booking = next(iter(job.bookings.all()), None)
    if booking is None or booking.offer is None:
        return JobMoney(job)
    offer = booking.offer
    scopes = {scope.deck_id: scope for scope in offer.scopes.all()}
    shares = offer_total_by_deck(offer, list(booking.decks.all()), scopes)
    more = sum((order.total for order in offer.accepted_orders), Decimal(0))  # type: ignore[attr-defined]
    return JobMoney(job, offer, shares.get(job.deck_id), offer.total + more)


def done_job_rows(first: date | None = None, last: date | None = None) -> list[dict[str, Any]]:
    """Jobs finished on these days, the oldest first; None is open."""
    rows = jobs_with_money().order_by("finished_on", "id")
    if first:
        rows = rows.filter(finished_on__gte=first)
    if last:
        rows = rows.filter(finished_on__lte=last)
    return [money_of_job(job).row for job in rows]


def accepted_offer_rows(
    first: date | None = None, last: date | None = None
) -> list[dict[str, Any]]:
    """Offers and change orders accepted on these days (of the business), the oldest first."""
    rows = Offer.objects.filter(state=Offer.State.ACCEPTED).select_related(
        "client", "site", "original", "booking"
    )
    found = [
        offer_row_of(offer) for offer in rows.prefetch_related("taxes").order_by("answered_at")
    ]
    return [
        row
        for row in found
        if (first is None or row["accepted_on"] >= first)
        and (last is None or row["accepted_on"] <= last)
    ]


def offer_row_of(offer: Offer) -> dict[str, Any]:
    first = offer.original or offer
    today = display.current_business().today
    booking = getattr(first, "booking", None)
    return {
        "offer": offer.reference,
        "changes_offer": first.reference if offer.original else "",
        "client_id": offer.client_id,
        "client": offer.client.name,
        "street": offer.site.street,
        "town": offer.site.town,
        "sent_on": today(offer.sent_at) if offer.sent_at else None,
        "accepted_on": today(offer.answered_at) if offer.answered_at else date.max,
        "accepted_by": offer.answered_by,
        "currency": offer.currency,
        "net": offer.net,
        "tax": offer.tax,
        "total": offer.total,
        "taxes": "; ".join(f"{tax.name} {tax.amount}" for tax in offer.taxes.all()),
        "deposit": deposit_of_offer(offer),
        "done": booking is not None and booking.state == Booking.State.DONE,
    }


# what may be asked for → its rows between two days, and their columns
LEDGER_TABLES = {
    "jobs": (done_job_rows, JOB_COLUMNS),
    "offers": (accepted_offer_rows, OFFER_COLUMNS),
}
