"""Writes the rows of a sheet into the book:
finds or makes client, property, deck, product and batch, then the job.

Nothing is guessed: what cannot be decided is a problem of that row. Rows of one job (same deck, day
and kind) become one job with several products; a job that is already in the book is left alone and
counted.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from clients.models import Business, Client, ContactPoint, Deck, Place, Property, User
from clients.notation import phones
from clients.places import towns
from jobs.importing.reading import ReadRow, RowValues, SheetProblem
from jobs.models import Batch, CoatApplied, Job, Product, Visit

Row = TypeVar("Row")  # of the book: found, or made
DECK_FIELDS = ["species", "texture", "traffic", "salt", "roof_percent"]


class RowError(Exception):
    """A row that contradicts the book or leaves out what the book needs; `column` says where."""

    def __init__(self, column: str, message: str) -> None:
        super().__init__(message)
        self.column = column


@dataclass
class ImportTally:
    """How many rows of each kind the import made, and how many jobs were there before."""

    clients: int = 0
    properties: int = 0
    decks: int = 0
    products: int = 0
    batches: int = 0
    jobs: int = 0
    already_there: int = 0
    deck_ids: set[int] = field(default_factory=set)
    client_ids: set[int] = field(default_factory=set)


class BookWriter:
    """Writes rows one by one and remembers what this sheet made, so that the next row finds it
    without a query."""

    def __init__(self, *, business: Business, by: User | None, source: str, today: date) -> None:
        self.business = business
        self.by = by
        self.source = source
        self.today = today
        self.tally = ImportTally()
        self.seen: dict[tuple[Any, ...], Any] = {}
        self.made_jobs: set[int] = set()

    def write(self, rows: Sequence[ReadRow]) -> list[SheetProblem]:
        """Write what can be written; the caller rolls everything back when there are problems."""
        problems = []
        for row in rows:
            try:
                self.write_row(row)
            except RowError as error:
                problems.append(SheetProblem(row.number, error.column, str(error)))
        return problems

    def write_row(self, row: ReadRow) -> None:
        values = row.values
        if values["job_date"] > self.today:
            raise RowError(
                "job_date",
                f"{values['job_date']} is in the future. A job is logged when it is finished.",
            )
        client = self.client(values)
        self.tally.client_ids.add(client.pk)
        deck = self.deck(values, self.home(values, client))
        job = self.job(values, deck, row.number)
        if job.pk in self.made_jobs and values.get("product"):
            self.coat(values, job)

    def remember(self, key: tuple[Any, ...], find: Callable[[], Row]) -> Row:
        if key not in self.seen:
            self.seen[key] = find()
        found: Row = self.seen[key]
        return found

    def client(self, values: RowValues) -> Client:
        country = values.get("country", self.business.country)
        points = list(contact_points(values, country))
        key = (
            "client",
            values["client"].casefold(),
            tuple(point[1:] for point in points) or values["street"].casefold(),
        )
        return self.remember(
            key, lambda: self.find_client(values, points) or self.make_client(values, points)
        )

    def find_client(self, values: RowValues, points: list[tuple[str, str, str]]) -> Client | None:
        """The same name with the same address or number;
        without either, the same name at the same street."""
        same_name = Client.objects.filter(name__iexact=values["client"])
        reached = [normalized for _, _, normalized in points]
        if reached and (client := same_name.filter(contact_points__normalized__in=reached).first()):
            return client
        return same_name.filter(properties__street__iexact=values["street"]).first()

    def make_client(self, values: RowValues, points: list[tuple[str, str, str]]) -> Client:
        client = Client.objects.create(name=values["client"])
        for kind, value, normalized in points:
            ContactPoint.objects.create(
                client=client, kind=kind, value=value, normalized=normalized, is_preferred=True
            )
        self.tally.clients += 1
        return client

    def home(self, values: RowValues, client: Client) -> Property:
        key = ("property", client.pk, values["street"].casefold(), values["town"].casefold())

        def find() -> Property:
            there = client.properties.filter(
                street__iexact=values["street"], town__iexact=values["town"]
            ).first()
            return there or self.make_property(values, client)

        return self.remember(key, find)

    def make_property(self, values: RowValues, client: Client) -> Property:
        country = values.get("country", self.business.country)
        where = self.remember(
            (
                "town",
                values["town"].casefold(),
                values.get("region"),
                country,
                values.get("latitude"),
                values.get("longitude"),
            ),
            lambda: place_of_row(values, country, self.business),
        )
        self.tally.properties += 1
        return Property.objects.create(
            client=client,
            street=values["street"],
            country=country,
            postcode=values.get("postcode", ""),
            **where,
        )

    def deck(self, values: RowValues, home: Property) -> Deck:
        label = values.get("deck", "Deck")

        def find() -> Deck:
            return home.decks.filter(label__iexact=label).first() or self.make_deck(
                values, home, label
            )

        return self.remember(("deck", home.pk, label.casefold()), find)

    def make_deck(self, values: RowValues, home: Property, label: str) -> Deck:
        area = values.get("area_m2") or values.get("area_ft2")
        if not area:
            raise RowError(
                "area_m2", f"{label} is a new deck: give its area in area_m2 or area_ft2."
            )
        shade = values.get("shade_percent")
        given = {name: values[name] for name in DECK_FIELDS if name in values}
        self.tally.decks += 1
        return Deck.objects.create(
            site=home,
            label=label,
            area_m2=area.quantize(Decimal("0.01")),
            notes=values.get("deck_notes", ""),
            summer_shade_percent=shade,
            winter_shade_percent=shade,
            **given,
        )

    def job(self, values: RowValues, deck: Deck, number: int) -> Job:
        day = values["job_date"]
        kind = values["job_kind"]

        def find() -> Job:
            there = deck.jobs.filter(finished_on=day, kind=kind).first()
            if there:
                self.tally.already_there += 1
            return there or self.make_job(values, deck, number)

        return self.remember(("job", deck.pk, day, kind), find)

    def make_job(self, values: RowValues, deck: Deck, number: int) -> Job:
        price = values.get("price")
        job = Job.objects.create(
            deck=deck,
            kind=values["job_kind"],
            finished_on=values["job_date"],
            crew=values.get("crew", ""),
            notes=values.get("notes", ""),
            amount=price,
            visit=self.visit(values, deck),
            recorded_by=self.by,
            currency=(
                values.get("currency", self.business.currency).upper() if price is not None else ""
            ),
            source=f"{self.source}, row {number}"[:120],
        )
        self.tally.jobs += 1
        self.tally.deck_ids.add(deck.pk)
        self.made_jobs.add(job.pk)
        return job

    def visit(self, values: RowValues, deck: Deck) -> Visit | None:
        if "grade" not in values:
            return None
        reason = values.get("visit_reason", Visit.Reason.DUE)
        return Visit.objects.create(
            deck=deck,
            visited_on=values["job_date"],
            overall=values["grade"],
            reason=reason,
            recorded_by=self.by,
        )

    def coat(self, values: RowValues, job: Job) -> None:
        product = self.product(values)
        CoatApplied.objects.create(
            job=job,
            product=product,
            batch=self.batch(values, product),
            colour=values.get("colour", ""),
            surfaces=values.get("surfaces") or job.deck.surfaces,
            position=job.coats_applied.count() + 1,
            coats=values.get("coats", 1),
            litres=values.get("litres") or values.get("gallons"),
        )

    def product(self, values: RowValues) -> Product:
        name = values["product"]
        maker = values.get("maker", "")

        def find() -> Product:
            same_name = Product.objects.filter(name__iexact=name)
            there = same_name.filter(maker__iexact=maker).first() or (
                None if maker else same_name.first()
            )
            return there or self.make_product(values, name, maker)

        return self.remember(("product", name.casefold(), maker.casefold()), find)

    def make_product(self, values: RowValues, name: str, maker: str) -> Product:
        kind = values.get("product_kind", Product.Kind.FINISH)
        finish_class = values.get("finish_class", "") if kind == Product.Kind.FINISH else ""
        if kind == Product.Kind.FINISH and not finish_class:
            raise RowError("finish_class", f"{name} is not in the book yet: give its finish_class.")
        self.tally.products += 1
        return Product.objects.create(name=name, maker=maker, kind=kind, finish_class=finish_class)

    def batch(self, values: RowValues, product: Product) -> Batch | None:
        code = values.get("batch")
        if not code:
            return None

        def find() -> Batch:
            there = product.batches.filter(code__iexact=code).first()
            if not there:
                self.tally.batches += 1
            return there or Batch.objects.create(product=product, code=code)

        return self.remember(("batch", product.pk, code.casefold()), find)


def contact_points(values: RowValues, country: str) -> list[tuple[str, str, str]]:
    """(kind, as written, normalised) of the e-mail address and the number of a row."""
    points = []
    if "email" in values:
        points.append(("email", values["email"], values["email"].lower()))
    if "phone" in values:
        try:
            phone = phones.parse_phone(values["phone"], country)
        except phones.PhoneError as error:
            raise RowError("phone", str(error)) from error
        points.append(("phone", values["phone"], phone.e164))
    return points


def place_of_row(values: RowValues, country: str, business: Business) -> dict[str, Any]:
    """Where a property stands: by its coordinates if given, else by its town."""
    latitude = values.get("latitude")
    longitude = values.get("longitude")
    if latitude is not None and longitude is not None:
        zone = towns.nearest_zone(float(latitude), float(longitude)).time_zone
        return {
            "town": values["town"],
            "region": values.get("region", ""),
            "latitude": float(latitude),
            "longitude": float(longitude),
            "time_zone": zone,
        }
    answer = towns.find_town(values["town"], country=country, limit=8)
    exact = [town for town in answer.towns if is_named_town(town, values)]
    if not exact:
        likely = "; ".join(str(town) for town in [*answer.towns, *answer.suggestions][:3])
        raise RowError(
            "town",
            f"“{values['town']}” is not a town we know in {country}."
            + (f" Perhaps: {likely}." if likely else "")
            + " Or give latitude and longitude.",
        )
    town = exact[0]
    return {
        "town": values["town"],
        "region": values.get("region") or town.region,
        "latitude": town.latitude,
        "longitude": town.longitude,
        "time_zone": town.time_zone,
    }


def is_named_town(town: Place, values: RowValues) -> bool:
    """The very town that was written, in the region that was written (if one was)."""
    region = values.get("region", town.region)
    names = {town.name.casefold(), town.ascii_name.casefold()}
    return values["town"].casefold() in names and town.region.casefold() == region.casefold()
