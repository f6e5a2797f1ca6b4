"""What programs may send: kinds and sizes of the fields. What a value must be beyond that, the
forms of the pages say, which look at it next (restorer/api/filling.py). SI throughout."""

from datetime import date
from decimal import Decimal
from typing import Annotated

from ninja import Schema
from pydantic import ConfigDict, Field

from restorer.api import answers
from restorer.api.paging import MAX_KEY

RowNumber = Annotated[int, Field(ge=1, le=MAX_KEY)]
ShortText = Annotated[str, Field(max_length=200)]
LongText = Annotated[str, Field(max_length=20_000)]
Measure = Annotated[Decimal, Field(ge=-(10**9), le=10**9)]
SmallNumber = Annotated[int, Field(ge=0, le=32_767)]
GradeNumber = Annotated[int, Field(ge=0, le=5)]


class StrictIn(Schema):
    """A field that we do not know is a mistake, not left out in silence."""

    model_config = ConfigDict(extra="forbid")


class ContactPointIn(StrictIn):
    """A way to reach a client."""

    kind: answers.ContactKind
    value: Annotated[str, Field(min_length=1, max_length=254)]
    label: ShortText = ""
    is_preferred: bool = False


class SiteIn(StrictIn):
    """A property. A town that we know gives latitude, longitude and time zone."""

    street: ShortText
    town: ShortText
    region: ShortText = ""
    postcode: ShortText = ""
    country: str = Field("", max_length=2, description="Two letters; empty: as the business.")
    latitude: float | None = Field(None, ge=-90, le=90)
    longitude: float | None = Field(None, ge=-180, le=180)
    time_zone: Annotated[str, Field(max_length=60)] = ""
    travel_km: Measure | None = None
    access_notes: LongText = ""


class DeckIn(StrictIn):
    """A deck; what is left out has its usual value."""

    label: Annotated[str, Field(max_length=80)] = "Deck"
    species: answers.SpeciesName = "unknown"
    area_m2: Measure | None = None
    rail_m: Measure | None = None
    stair_treads: SmallNumber | None = None
    screen_m2: Measure | None = None
    height_m: Measure | None = None
    built_year: SmallNumber | None = None
    texture: answers.TextureName | None = None
    roof_percent: SmallNumber | None = None
    summer_shade_percent: SmallNumber | None = None
    winter_shade_percent: SmallNumber | None = None
    orientation_deg: SmallNumber | None = Field(
        None, description="0, 45 … 315; null if open all round."
    )
    airflow: answers.AirflowName | None = None
    traffic: answers.TrafficName | None = None
    salt: answers.SaltName | None = None
    pool: bool = False
    litter: answers.LitterName | None = None
    notes: LongText = ""


class ClientIn(StrictIn):
    """A client with a property and a deck."""

    name: ShortText
    salutation: ShortText = ""
    language: ShortText = ""
    preferred_channel: answers.ChannelName = ""
    notes: LongText = ""
    postal_street: ShortText = ""
    postal_town: ShortText = ""
    postal_region: ShortText = ""
    postal_postcode: ShortText = ""
    postal_country: Annotated[str, Field(max_length=2)] = ""
    contact_points: Annotated[list[ContactPointIn], Field(max_length=12)] = []
    site: SiteIn
    deck: DeckIn


class FindingsIn(StrictIn):
    """Grades from 0 (like new) to 5 (worn out), before any work."""

    overall: GradeNumber | None = None
    greying: GradeNumber | None = None
    beading: GradeNumber | None = None
    flaking: GradeNumber | None = None
    cracking: GradeNumber | None = None
    mould: GradeNumber | None = None
    reason: answers.ReasonName | None = Field(None, description="Needed with a grade.")
    moisture_percent: Measure | None = None


class CheckIn(FindingsIn):
    """A check of a deck without work."""

    deck_id: RowNumber
    visited_on: date
    found_by: ShortText = ""
    notes: LongText = ""


class CoatAppliedIn(StrictIn):
    """One product that went on."""

    product_id: RowNumber | None = Field(description="Null for a finish that nobody knows by name.")
    batch: ShortText = Field("", description="As on the can; made if it is new.")
    colour: ShortText = ""
    surfaces: Annotated[list[answers.SurfaceName], Field(min_length=1, max_length=4)] | None = (
        Field(None, description="What it went on; null for all that the deck has.")
    )
    coats: Annotated[int, Field(ge=1, le=10)] | None = Field(
        None, description="Null where nobody counted."
    )
    litres: Measure | None = None


class WorkedHoursIn(StrictIn):
    """How long one person was at a job."""

    person: ShortText = Field(description="The name they sign in by.")
    hours: Measure


class JobIn(StrictIn):
    """A finished job of work on a deck."""

    deck_id: RowNumber
    kind: answers.JobKind
    finished_on: answers.Edtf = Field(pattern=r"^\d{4}(-\d{2}(-\d{2})?)?$")
    crew: ShortText = ""
    air_c: Measure | None = None
    humidity_percent: SmallNumber | None = None
    sky: answers.SkyName = ""
    amount: Measure | None = None
    notes: LongText = ""
    findings: FindingsIn | None = None
    coats: Annotated[list[CoatAppliedIn], Field(max_length=20)] = []
    hours: Annotated[list[WorkedHoursIn], Field(max_length=20)] = []


class RemindersIn(StrictIn):
    """Which decks of a month's due list to remind about."""

    month: str = Field(pattern=r"^(19|20)\d{2}-(0[1-9]|1[0-2])$", examples=["2027-03"])
    deck_ids: Annotated[list[RowNumber], Field(min_length=1, max_length=500)]
    at_once: bool = Field(False, description="Without waiting for the day of each step.")
