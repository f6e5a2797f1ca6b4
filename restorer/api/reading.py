"""What programs may read: lists page by page, and single rows. What they may write is put on the
same router (restorer/api/writing.py), for an address takes both."""

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet
from django.http import Http404, HttpRequest
from ninja import Path, Query, Router
from pydantic import AfterValidator, AwareDatetime, Field

from clients.models import Client, Deck, Property
from clients.pages import business_today
from jobs.models import (
    Batch,
    Booking,
    Coat,
    CoatApplied,
    Job,
    Offer,
    OfferScope,
    Product,
    Visit,
    WorkedHours,
)
from jobs.scope import work_advice
from reminders.due import due_list
from reminders.models import Forecast
from reminders.months import shift_months
from restorer.api import answers, changes
from restorer.api.paging import MAX_KEY, PageOf, PageQuery, RowModel, page_by_key, page_of
from restorer.api.tokens import may_read

router = Router(auth=may_read, tags=["read"])
RowKey = Annotated[int, Field(ge=1, le=MAX_KEY)]
PathKey = Annotated[int, Path(ge=1, le=MAX_KEY)]
Words = Annotated[str, Field(max_length=120)]
Archived = Literal["no", "yes", "all"]
EARLIEST_CHANGE = datetime(1970, 1, 1, tzinfo=UTC)
LATEST_CHANGE = datetime(2200, 1, 1, tzinfo=UTC)
Moment = Annotated[
    AwareDatetime,
    Field(ge=EARLIEST_CHANGE, le=LATEST_CHANGE),
    AfterValidator(lambda moment: moment.astimezone(UTC)),  # PostgreSQL knows offsets below 16 h
]
Since = Annotated[
    Moment | None,
    Field(description="Added or changed at or after this moment, by the trail of changes."),
]


class ClientQuery(PageQuery):
    town: Words = Field("", description="Of one of their properties.")
    archived: Archived = "no"
    changed_since: Since = None


class SiteQuery(PageQuery):
    client_id: RowKey | None = None
    town: Words = ""
    changed_since: Since = None


class DeckQuery(PageQuery):
    client_id: RowKey | None = None
    site_id: RowKey | None = None
    town: Words = ""
    species: answers.SpeciesName | None = None
    product_id: RowKey | None = Field(None, description="Of the coat on it now.")
    finish_class: answers.FinishName | None = Field(None, description="Of the coat on it now.")
    archived: Archived = "no"
    changed_since: Since = None


class JobQuery(PageQuery):
    client_id: RowKey | None = None
    deck_id: RowKey | None = None
    town: Words = ""
    species: answers.SpeciesName | None = None
    kind: answers.JobKind | None = None
    product_id: RowKey | None = None
    finish_class: answers.FinishName | None = None
    finished_since: date | None = None
    changed_since: Since = None


class CheckQuery(PageQuery):
    deck_id: RowKey | None = None
    client_id: RowKey | None = None
    visited_since: date | None = None
    changed_since: Since = None


class ProductQuery(PageQuery):
    kind: answers.ProductKind | None = None
    finish_class: answers.FinishName | None = None
    is_active: bool | None = None
    changed_since: Since = None


class BatchQuery(PageQuery):
    product_id: RowKey | None = None


class DueQuery(PageQuery):
    carried_over: bool = Field(True, description="With what became due before the month.")
    town: Words = ""
    species: answers.SpeciesName | None = None


class OfferQuery(PageQuery):
    client_id: RowKey | None = None
    town: Words = ""
    state: answers.OfferState | None = None
    changed_since: Since = None


class BookingQuery(PageQuery):
    client_id: RowKey | None = None
    town: Words = ""
    state: answers.BookingState | None = None
    from_day: date | None = Field(None, description="Work that is not over before it.")
    to_day: date | None = Field(None, description="Work that begins by it.")
    changed_since: Since = None


def asked_for(query: PageQuery, paths: dict[str, str]) -> dict[str, Any]:
    """The filters that were given, each by the path of its column."""
    given = {path: getattr(query, name) for name, path in paths.items()}
    return {path: value for path, value in given.items() if value not in (None, "")}


def archived_rows(archived: Archived, path: str) -> Q:
    """Of rows with a client and perhaps more that can be archived."""
    if archived == "all":
        return Q()
    current = Q(**{path: None})
    return current if archived == "no" else ~current


def changed(since: datetime | None, question: Any) -> Q:
    return question(since) if since else Q()


def one_row(rows: "QuerySet[RowModel]", pk: int, words: str) -> RowModel:
    row = rows.filter(pk=pk).first()
    if row is None:
        raise Http404(f"There is no {words} with the number {pk}.")
    return row


def client_rows() -> "QuerySet[Client]":
    return Client.objects.prefetch_related("contact_points")


def deck_rows() -> "QuerySet[Deck]":
    return Deck.objects.select_related("site__client", "forecast")


def job_rows() -> "QuerySet[Job]":
    jobs = Job.objects.select_related("deck__site", "visit").with_coats()
    return jobs.prefetch_related(WorkedHours.of_jobs())


def offer_rows() -> "QuerySet[Offer]":
    scopes = OfferScope.objects.order_by("position", "id")
    return Offer.objects.prefetch_related(Prefetch("scopes", scopes))


def booking_rows() -> "QuerySet[Booking]":
    decks = Deck.objects.only("pk").order_by("pk")
    return Booking.objects.select_related("crew").prefetch_related(Prefetch("decks", decks))


def with_coats_and_work(decks: Sequence[Deck], *, today: date) -> Sequence[Deck]:
    """Each deck with `coat` and `work`, in a fixed number of queries."""
    keys = [deck.pk for deck in decks]
    coats = {coat.deck_id: coat for coat in newest_coats(keys)}
    work = work_advice([deck.pk for deck in decks if deck.pk in coats], today=today)
    for deck in decks:
        row: Any = deck
        row.coat = coats.get(deck.pk)
        row.work = work.get(deck.pk)
    return decks


def newest_coats(deck_ids: Iterable[int]) -> "QuerySet[Coat]":
    return Coat.objects.newest().filter(deck__in=list(deck_ids)).select_related("product")


@router.get("/clients", response=PageOf[answers.ClientOut], url_name="clients")
def list_clients(request: HttpRequest, query: Query[ClientQuery]) -> dict[str, Any]:
    rows = client_rows().filter(
        archived_rows(query.archived, "archived_at"),
        changed(query.changed_since, changes.changed_clients),
    )
    if query.town:
        rows = rows.filter(
            Exists(Property.objects.filter(client=OuterRef("pk"), town__iexact=query.town))
        )
    return page_by_key(request, rows, query)


@router.get("/clients/{pk}", response=answers.ClientOut, url_name="client")
def read_client(request: HttpRequest, pk: PathKey) -> Client:
    return one_row(client_rows(), pk, "client")


@router.get("/sites", response=PageOf[answers.SiteOut], url_name="sites")
def list_sites(request: HttpRequest, query: Query[SiteQuery]) -> dict[str, Any]:
    given = asked_for(query, {"client_id": "client", "town": "town__iexact"})
    rows = Property.objects.filter(changed(query.changed_since, changes.changed_sites), **given)
    return page_by_key(request, rows, query)


@router.get("/sites/{pk}", response=answers.SiteOut, url_name="site")
def read_site(request: HttpRequest, pk: PathKey) -> Property:
    return one_row(Property.objects.all(), pk, "property")


@router.get("/decks", response=PageOf[answers.DeckOut], url_name="decks")
def list_decks(request: HttpRequest, query: Query[DeckQuery]) -> dict[str, Any]:
    paths = {"client_id": "site__client", "site_id": "site", "town": "site__town__iexact"}
    rows = deck_rows().filter(
        archived_rows(query.archived, "archived_at"),
        changed(query.changed_since, changes.changed_decks),
        **asked_for(query, paths | {"species": "species"}),
    )
    of_coat = asked_for(query, {"product_id": "product", "finish_class": "finish_class"})
    if of_coat:
        rows = rows.filter(Exists(Coat.objects.newest().filter(deck=OuterRef("pk"), **of_coat)))
    page = page_by_key(request, rows, query)
    with_coats_and_work(page["items"], today=business_today(request))
    return page


@router.get("/decks/{pk}", response=answers.DeckOut, url_name="deck")
def read_deck(request: HttpRequest, pk: PathKey) -> Deck:
    row = one_row(deck_rows(), pk, "deck")
    return with_coats_and_work([row], today=business_today(request))[0]


@router.get("/jobs", response=PageOf[answers.JobOut], url_name="jobs")
def list_jobs(request: HttpRequest, query: Query[JobQuery]) -> dict[str, Any]:
    paths = {
        "client_id": "deck__site__client",
        "deck_id": "deck",
        "town": "deck__site__town__iexact",
        "species": "deck__species",
        "kind": "kind",
        "finished_since": "finished_on__gte",
    }
    rows = job_rows().filter(
        changed(query.changed_since, changes.changed_jobs), **asked_for(query, paths)
    )
    used = asked_for(query, {"product_id": "product", "finish_class": "product__finish_class"})
    if used:
        rows = rows.filter(Exists(CoatApplied.objects.filter(job=OuterRef("pk"), **used)))
    return page_by_key(request, rows, query)


@router.get("/jobs/{pk}", response=answers.JobOut, url_name="job")
def read_job(request: HttpRequest, pk: PathKey) -> Job:
    return one_row(job_rows(), pk, "job")


@router.get("/checks", response=PageOf[answers.CheckOut], url_name="checks")
def list_checks(request: HttpRequest, query: Query[CheckQuery]) -> dict[str, Any]:
    """What was found on decks, with work and without."""
    paths = {
        "client_id": "deck__site__client",
        "deck_id": "deck",
        "visited_since": "visited_on__gte",
    }
    since = changed(query.changed_since, changes.changed_checks)
    return page_by_key(request, Visit.objects.filter(since, **asked_for(query, paths)), query)


@router.get("/products", response=PageOf[answers.ProductOut], url_name="products")
def list_products(request: HttpRequest, query: Query[ProductQuery]) -> dict[str, Any]:
    own = {name: name for name in ("kind", "finish_class", "is_active")}
    given = asked_for(query, own)
    since = changed(query.changed_since, changes.changed_products)
    return page_by_key(request, Product.objects.filter(since, **given), query)


@router.get("/products/{pk}", response=answers.ProductOut, url_name="product")
def read_product(request: HttpRequest, pk: PathKey) -> Product:
    return one_row(Product.objects.all(), pk, "product")


@router.get("/batches", response=PageOf[answers.BatchOut], url_name="batches")
def list_batches(request: HttpRequest, query: Query[BatchQuery]) -> dict[str, Any]:
    given = asked_for(query, {"product_id": "product"})
    return page_by_key(request, Batch.objects.filter(**given), query)


@router.get("/due/{month}", response=PageOf[answers.DueOut], url_name="due")
def list_due(
    request: HttpRequest,
    month: Annotated[str, Path(pattern=r"^(19|20)\d{2}-(0[1-9]|1[0-2])$", examples=["2027-03"])],
    query: Query[DueQuery],
) -> dict[str, Any]:
    first = date.fromisoformat(f"{month}-01")
    today = business_today(request)
    paths = {"town": "deck__site__town__iexact", "species": "deck__species"}
    rows = Forecast.objects.current().due_before(shift_months(first, 1))
    if not query.carried_over:
        rows = due_list.due_in_month(first)
    day, key = query.after_day()
    later = Q(due_on__gt=day) | Q(due_on=day, deck_id__gt=key)
    ordered = rows.filter(later, **asked_for(query, paths)).order_by("due_on", "deck_id")
    found = due_list.due_lines(ordered, slice(query.limit + 1))
    page = page_of(request, found, query.limit, lambda line: f"{line.due_on}/{line.deck_id}")
    lines = due_list.with_finishes_and_status(list(page["items"]), today=today)
    page["items"] = [due_list.due_row(line, line.due_on < first) for line in lines]
    return page


@router.get("/offers", response=PageOf[answers.OfferOut], url_name="offers")
def list_offers(request: HttpRequest, query: Query[OfferQuery]) -> dict[str, Any]:
    paths = {"client_id": "client", "town": "site__town__iexact", "state": "state"}
    rows = offer_rows().filter(**asked_for(query, paths))
    if query.changed_since:
        rows = rows.filter(changes.changed_offers(query.changed_since)).distinct()
    return page_by_key(request, rows, query)


@router.get("/offers/{pk}", response=answers.OfferOut, url_name="offer")
def read_offer(request: HttpRequest, pk: PathKey) -> Offer:
    return one_row(offer_rows(), pk, "offer")


@router.get("/bookings", response=PageOf[answers.BookingOut], url_name="bookings")
def list_bookings(request: HttpRequest, query: Query[BookingQuery]) -> dict[str, Any]:
    paths = {
        "client_id": "client",
        "town": "site__town__iexact",
        "state": "state",
        "from_day": "last_on__gte",
        "to_day": "first_on__lte",
        "changed_since": "changed_at__gte",
    }
    return page_by_key(request, booking_rows().filter(**asked_for(query, paths)), query)


@router.get("/bookings/{pk}", response=answers.BookingOut, url_name="booking")
def read_booking(request: HttpRequest, pk: PathKey) -> Booking:
    return one_row(booking_rows(), pk, "booking")
