"""What a program reads: rows by the names that exports and commands use. Decimals are text."""

from datetime import date, datetime, time
from decimal import Decimal
from typing import Annotated

from ninja import Schema
from pydantic import Field

from clients.models import Channel, ContactPoint, Deck, Property, Species, Surface
from jobs.forecast_summary import WorkAdvice
from jobs.models import (
    Booking,
    Coat,
    CoatApplied,
    FinishClass,
    Job,
    Offer,
    OfferScope,
    Product,
    Visit,
    WorkedHours,
)

Edtf = Annotated[
    str,
    Field(
        description="A day, or month, season or year where no more is known (ISO 8601-2).",
        examples=["2025-06-12", "2023-03", "2021-21", "2019"],
    ),
]
ContactKind = Annotated[str, Field(json_schema_extra={"enum": ContactPoint.Kind.values})]
SpeciesName = Annotated[str, Field(json_schema_extra={"enum": Species.values})]
TextureName = Annotated[str, Field(json_schema_extra={"enum": Deck.Texture.values})]
AirflowName = Annotated[str, Field(json_schema_extra={"enum": Deck.Airflow.values})]
TrafficName = Annotated[str, Field(json_schema_extra={"enum": Deck.Traffic.values})]
SaltName = Annotated[str, Field(json_schema_extra={"enum": Deck.Salt.values})]
LitterName = Annotated[str, Field(json_schema_extra={"enum": Deck.Litter.values})]
FinishName = Annotated[str, Field(json_schema_extra={"enum": ["", *FinishClass.values]})]
WorkName = Annotated[str, Field(json_schema_extra={"enum": WorkAdvice.values})]
JobKind = Annotated[str, Field(json_schema_extra={"enum": Job.Kind.values})]
SkyName = Annotated[str, Field(json_schema_extra={"enum": ["", *Job.Sky.values]})]
SurfaceName = Annotated[str, Field(json_schema_extra={"enum": Surface.values})]
ProductKind = Annotated[str, Field(json_schema_extra={"enum": Product.Kind.values})]
BaseName = Annotated[str, Field(json_schema_extra={"enum": Product.Base.values})]
PigmentName = Annotated[str, Field(json_schema_extra={"enum": Product.Pigment.values})]
ReasonName = Annotated[str, Field(json_schema_extra={"enum": Visit.Reason.values})]
OfferState = Annotated[str, Field(json_schema_extra={"enum": Offer.State.values})]
ScopeWork = Annotated[str, Field(json_schema_extra={"enum": OfferScope.Work.values})]
BookingState = Annotated[str, Field(json_schema_extra={"enum": Booking.State.values})]
ChannelName = Annotated[str, Field(json_schema_extra={"enum": ["", *Channel.values]})]
LocalTime = Annotated[str, Field(pattern=r"^\d{2}:\d{2}$", examples=["08:30"])]
ShareOfOne = Annotated[float, Field(ge=0, le=1)]


def clock_text(at: time | None) -> str | None:
    """Hours and minutes; a time of JSON Schema would need a zone (RFC 3339, full-time)."""
    return f"{at:%H:%M}" if at else None


class ContactPointOut(Schema):
    """A way to reach a client."""

    id: int
    kind: ContactKind
    value: str = Field(description="As the client writes it.")
    normalized: str = Field(description="E.164 number or lower-case address.")
    label: str
    is_preferred: bool
    suspended_at: datetime | None


class ClientOut(Schema):
    """A client and how to reach them."""

    id: int
    name: str
    salutation: str
    language: str
    preferred_channel: ChannelName
    postal_street: str
    postal_town: str
    postal_region: str
    postal_postcode: str
    postal_country: str
    notes: str
    created_at: datetime
    archived_at: datetime | None
    contact_points: list[ContactPointOut]


class SiteOut(Schema):
    """A property: an address with one or more decks."""

    id: int
    client_id: int
    street: str
    town: str
    region: str
    postcode: str
    country: str
    latitude: float
    longitude: float
    time_zone: str
    travel_km: Decimal | None
    access_notes: str
    created_at: datetime


class ForecastOut(Schema):
    """When the coat on a deck is next due; calculated again each night."""

    window_opens_on: date = Field(description="The chance worn reaches 20 %.")
    half_worn_on: date
    due_on: date = Field(description="The day that suits the work best, of the surface first due.")
    late_on: date = Field(description="The chance worn reaches 80 %.")
    chance_worn: ShareOfOne = Field(description="On the day of computing.")
    look_on: date | None
    strip_on: date | None
    coat_build: int
    model_version: str
    computed_on: date


class CoatOut(Schema):
    """The coat that is on a deck now."""

    job_id: int
    kind: JobKind
    coated_on: date = Field(description="The day, or the last possible one.")
    product_id: int | None
    product: str
    finish_class: FinishName
    coat_build: int

    @staticmethod
    def resolve_coated_on(row: Coat) -> date:
        return row.laid_on

    @staticmethod
    def resolve_product(row: Coat) -> str:
        return row.product.name if row.product else ""

    @staticmethod
    def resolve_coat_build(row: Coat) -> int:
        return row.build


class DeckOut(Schema):
    """A deck, the coat on it, and when that is due."""

    id: int
    site_id: int
    client_id: int
    client: str
    street: str
    town: str
    region: str
    label: str
    area_m2: Decimal | None
    rail_m: Decimal
    stair_treads: int
    screen_m2: Decimal
    height_m: Decimal | None
    built_year: int | None
    species: SpeciesName
    texture: TextureName
    roof_percent: int
    summer_shade_percent: int | None
    winter_shade_percent: int | None
    orientation_deg: int | None
    airflow: AirflowName
    traffic: TrafficName
    salt: SaltName
    pool: bool
    litter: LitterName
    notes: str
    created_at: datetime
    archived_at: datetime | None
    coat: CoatOut | None
    forecast: ForecastOut | None
    work: WorkName | None = Field(description="What the deck asks for today.")

    @staticmethod
    def resolve_client_id(row: Deck) -> int:
        return row.site.client_id

    @staticmethod
    def resolve_client(row: Deck) -> str:
        return row.site.client.name

    @staticmethod
    def resolve_street(row: Deck) -> str:
        return row.site.street

    @staticmethod
    def resolve_town(row: Deck) -> str:
        return row.site.town

    @staticmethod
    def resolve_region(row: Deck) -> str:
        return row.site.region

    @staticmethod
    def resolve_forecast(row: Deck) -> object:
        return getattr(row, "forecast", None)


class CoatAppliedOut(Schema):
    """One product that went on."""

    product_id: int | None = Field(description="Null for a finish that nobody knows by name.")
    product: str
    batch_id: int | None
    batch: str
    colour: str
    surfaces: list[SurfaceName]
    coats: int | None = Field(description="Null where nobody counted.")
    litres: Decimal | None

    @staticmethod
    def resolve_product(row: CoatApplied) -> str:
        return row.product.name if row.product else ""

    @staticmethod
    def resolve_batch(row: CoatApplied) -> str:
        return row.batch.code if row.batch else ""


class CheckOut(Schema):
    """What was found on a deck: grades from 0 (like new) to 5 (worn out)."""

    id: int
    deck_id: int
    visited_on: date
    reason: ReasonName
    overall: int | None
    greying: int | None
    beading: int | None
    flaking: int | None
    cracking: int | None
    mould: int | None
    moisture_percent: Decimal | None
    found_by: str
    notes: str


class WorkedHoursOut(Schema):
    """How long one person was at a job."""

    person: str = Field(description="The name they sign in by.")
    hours: Decimal

    @staticmethod
    def resolve_person(row: WorkedHours) -> str:
        return row.person.username


class JobOut(Schema):
    """A finished job with what was found and what went on."""

    id: int
    deck_id: int
    client_id: int
    kind: JobKind
    finished_on: Edtf
    crew: str
    air_c: Decimal | None
    humidity_percent: int | None
    sky: SkyName
    amount: Decimal | None
    currency: str
    notes: str
    created_at: datetime
    findings: CheckOut | None
    coats: list[CoatAppliedOut]
    hours: list[WorkedHoursOut]

    @staticmethod
    def resolve_client_id(row: Job) -> int:
        return row.deck.site.client_id

    @staticmethod
    def resolve_finished_on(row: Job) -> str:
        return row.edtf

    @staticmethod
    def resolve_findings(row: Job) -> object:
        return row.visit

    @staticmethod
    def resolve_coats(row: Job) -> object:
        return row.coats_applied.all()

    @staticmethod
    def resolve_hours(row: Job) -> object:
        return row.hours_worked.all()


class ProductOut(Schema):
    """A product as its data sheet describes it."""

    id: int
    name: str
    maker: str
    kind: ProductKind
    finish_class: FinishName
    base: BaseName
    pigment: PigmentName
    colours: str = Field(description="Separated by commas.")
    spread_m2_per_l: Decimal | None
    coats_usual: int
    recoat_hours: Decimal | None
    walk_hours: Decimal | None
    furniture_days: Decimal | None
    is_active: bool


class BatchOut(Schema):
    """One production lot of a product."""

    id: int
    product_id: int
    code: str
    received_on: date | None
    expires_on: date | None


class DueOut(Schema):
    """A line of the due list, with the keys of `manage.py due`."""

    carried_over: bool = Field(description="It became due before the month.")
    town: str
    region: str
    client: str
    client_id: int
    deck: str
    deck_id: int
    street: str
    area_m2: Decimal | None
    window_opens_on: date
    due_on: date
    late_on: date
    chance_worn: ShareOfOne
    reasons: list[str]
    product: str
    colour: str
    coated_on: Edtf
    coat_build: int
    standing: str = Field(description="Where reminding stands.")
    work: WorkName
    surfaces: str = Field(description="What is due and what not yet; empty where all of it is.")


class ScopeOut(Schema):
    """What is to be done on one deck."""

    deck_id: int
    work: ScopeWork
    coats: int
    product_id: int | None
    colour: str
    litres: Decimal
    hours: Decimal


class OfferOut(Schema):
    """One revision of an offer, as it stands."""

    id: int
    number: int
    revision: int
    reference: str
    client_id: int
    site_id: int
    state: OfferState
    currency: str
    net: Decimal
    tax: Decimal
    total: Decimal
    hours: Decimal
    drafted_on: date
    valid_until: date
    sent_at: datetime | None
    answered_at: datetime | None
    answered_by: str
    accepted_week: date | None
    decline_reason: str
    scopes: list[ScopeOut]


class BookingOut(Schema):
    """Work agreed for a property."""

    id: int
    uid: str
    client_id: int
    site_id: int
    offer_id: int | None
    crew_id: int
    crew: str
    state: BookingState
    first_on: date
    last_on: date
    arrives_from: LocalTime | None = Field(description="By the clock of the property.")
    arrives_to: LocalTime | None
    hours: Decimal
    notes: str
    why: str
    changed_at: datetime
    deck_ids: list[int]

    @staticmethod
    def resolve_uid(row: Booking) -> str:
        return str(row.uid)

    @staticmethod
    def resolve_arrives_from(row: Booking) -> str | None:
        return clock_text(row.arrives_from)

    @staticmethod
    def resolve_arrives_to(row: Booking) -> str | None:
        return clock_text(row.arrives_to)

    @staticmethod
    def resolve_crew(row: Booking) -> str:
        return row.crew.name

    @staticmethod
    def resolve_deck_ids(row: Booking) -> list[int]:
        return [deck.pk for deck in row.decks.all()]


class ReminderOut(Schema):
    """A message that waits in the outbox, with the keys of `manage.py remind`."""

    message_id: int
    client_id: int
    client: str
    channel: str
    address: str
    step: int
    goes_at: datetime | None
    deck_ids: list[int]
    decks: list[str]
    subject: str


class LeftOutOut(Schema):
    """A deck that nobody is reminded about, and why."""

    client_id: int
    client: str
    deck_id: int
    deck: str
    kind: str
    why: str


class RemindersOut(Schema):
    """What was queued, and what was left out."""

    queued: list[ReminderOut]
    left_out: list[LeftOutOut]


class OpenedOut(Schema):
    """A client with a property and a deck, as they were taken in."""

    client: ClientOut
    site: SiteOut
    deck: DeckOut

    @staticmethod
    def resolve_client(row: Deck) -> object:
        return row.site.client

    @staticmethod
    def resolve_site(row: Deck) -> Property:
        return row.site

    @staticmethod
    def resolve_deck(row: Deck) -> Deck:
        return row
