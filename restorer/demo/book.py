"""The invented book of the demo: Driftline Deck Care, two crews on the coast of Nova Scotia, some
years of history.

Every person, street, product and number is made up; towns are real. The same seed and day give the
same book.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from random import Random

from django.db import transaction
from django.db.models import F

from clients import display
from clients.messaging.asking import consent_wording
from clients.messaging.models import Consent
from clients.models import Business, Channel, Client, ContactPoint, Deck, Place, Property, User
from jobs.models import Batch, CoatApplied, Job, Product, Visit
from jobs.scope import surfaces_of
from restorer.demo import diary, offers
from restorer.demo import shelf as demo_shelf

SEED = 20261125
PASSWORD = "low tide at seven"  # noqa: S105 - of the invented book, printed on the screen
PEOPLE = [("maren", "Maren", "owner"), ("odile", "Odile", "office"), ("tern", "Tern crew", "crew")]
CREWS = ["Tern crew", "Heron crew"]
CLIENTS = 64

GIVEN = (
    "Ottilie Halvard Perpetua Ansel Brigid Cormac Delphine Edmund Fiadh Gideon Hester Ivo Juniper"
    " Kasimir Leocadia Magnus Nerys Osric Philippa Quentin Rosalind Sunniva Thaddeus Ursula Vivian"
    " Winifred Xanthe Yorick Zelda Aurelio"
).split()
FAMILY = (
    "Quillfeather Saltonby Marrowick Penhallow-Voss Brankovane Tidewell Larkmoor Oakhampter"
    " Duskwater Fennimore-Rook Greywhistle Hollowby Inkpenne Jessamire Kettlewright Lowmarsh"
    " Mossgrave Northquay Ottermole Pebblethwaite"
).split()
BIRDS = (
    "Gannet Plover Cormorant Tern Heron Puffin Kittiwake Sandpiper Eider Osprey Dunlin Petrel"
    " Avocet Curlew".split()
)
ENDINGS = "Row Lane Hill Wharf Rise Crescent Path Landing".split()
TOWNS = (
    "Lunenburg|Mahone"
    " Bay|Chester|Bridgewater|Liverpool|Shelburne|Wolfville|Kentville|Digby|Yarmouth|Halifax|Truro"
).split("|")
FAR_TOWN = ("Nelson", "NZ")  # one client keeps a deck where summer is in January

PRODUCTS = [
    (
        "Tidewood Deck Oil",
        "Tidewood",
        "penetrating_oil",
        "water",
        "light",
        "Driftwood, Cedar, Slate",
        "9",
        2,
    ),
    ("Tidewood Clear Guard", "Tidewood", "clear_repellent", "solvent", "none", "Clear", "8", 2),
    (
        "Saltmarsh Tint",
        "Larkmoor Coatings",
        "tinted",
        "water",
        "light",
        "Honey, Driftwood, Fern",
        "8.5",
        2,
    ),
    (
        "Boreal Stain",
        "Larkmoor Coatings",
        "semitransparent",
        "solvent",
        "dark",
        "Walnut, Bark, Spruce",
        "7",
        1,
    ),
    (
        "Harbour Solid",
        "Larkmoor Coatings",
        "solid_film",
        "water",
        "dark",
        "Slate, Barn red",
        "10",
        2,
    ),
]
AUXILIARY_PRODUCTS = [
    ("Kelp Strip", "stripper", "1"),
    ("Foam Wash", "cleaner", "6"),
    ("Bright Tide", "brightener", "8"),
]
JOB_NOTES = [
    "",
    "",
    "Replaced two boards by the stairs.",
    "Watch the loose nail heads.",
    "Dog; shut the gate.",
]
LIFE_MONTHS = {
    "penetrating_oil": 16,
    "clear_repellent": 11,
    "tinted": 21,
    "semitransparent": 25,
    "solid_film": 24,
}
# What the invented weather does to the invented decks; near what the forecast believes beforehand,
# not the same.
WEAR = {
    "smooth": 1.0,
    "sawn": 1.3,
    "weathered": 1.25,
    "light": 1.15,
    "household": 1.0,
    "heavy": 0.8,
    "near": 0.9,
    "spray": 0.8,
    "none": 1.0,
    "some": 0.95,
    "heavy leaves": 0.88,
}
PRICE_PER_M2 = {
    "strip": Decimal("31.50"),
    "recoat": Decimal("13.25"),
}  # dollars a square metre, invented


@dataclass
class DemoProducts:
    """The products of the demo and their batches."""

    finishes: list[Product]
    batches: dict[int, list[Batch]]


@transaction.atomic
def write_demo_book(*, today: date, now: datetime) -> None:
    """Write the whole book; the database must be empty."""
    random = Random(SEED)  # noqa: S311 - a repeatable book, no secret
    business = make_business()
    make_people()
    shelf = make_products(random)
    for number in range(CLIENTS):
        client = make_client(random, number, now)
        for deck in make_decks(random, number, client):
            make_history(random, deck, shelf, business, today)
    mark_older_jobs_paid(today)
    demo_shelf.stock_demo_shelf(today=today)
    diary.write_demo_diary(random, today=today, now=now)
    offers.make_demo_prices()


def mark_older_jobs_paid(today: date) -> None:
    """Within a fortnight, but for the newest."""
    limit = today - timedelta(days=60)
    Job.objects.filter(finished_on__gte=limit).update(is_unpaid=True)
    older = Job.objects.filter(finished_on__lt=limit)
    older.update(settled_on=F("finished_on") + timedelta(days=14))


def make_business() -> Business:
    return Business.objects.create(
        id=1,
        name="Driftline Deck Care",
        legal_name="Driftline Deck Care (an invented business)",
        street="4 Tern Wharf",
        town="Lunenburg",
        region="Nova Scotia",
        postcode="B0J 2C0",
        country="CA",
        phone="902-555-0100",
        email="office@example.com",
        sender_email="reminders@example.com",
        time_zone="America/Halifax",
        locale="en-CA",
        currency="CAD",
        units="metric",
        season_months=[5, 6, 7, 8, 9, 10],
    )


def make_people() -> None:
    for username, name, role in PEOPLE:
        user = User(username=username, first_name=name, role=role)
        user.set_password(PASSWORD)
        user.save()


def make_products(random: Random) -> DemoProducts:
    finishes = [
        Product.objects.create(
            name=name,
            maker=maker,
            kind="finish",
            finish_class=finish,
            base=base,
            pigment=pigment,
            colours=colours,
            spread_m2_per_l=Decimal(spread),
            coats_usual=coats,
            recoat_hours=2,
            walk_hours=24,
            furniture_days=5,
            minimum_c=10,
            maximum_c=32,
            cautions="Air the place until the smell is gone." if base == "solvent" else "",
            cautions_translated=(
                {"fr": "Aérez jusqu'à ce que l'odeur ait disparu."} if base == "solvent" else {}
            ),
        )
        for name, maker, finish, base, pigment, colours, spread, coats in PRODUCTS
    ]
    for name, kind, spread in AUXILIARY_PRODUCTS:
        Product.objects.create(
            name=name,
            maker="Tidewood",
            kind=kind,
            spread_m2_per_l=Decimal(spread),
            dwell_minutes=60 if kind == "stripper" else 20,
            cautions="Gloves, mask and boots. The wet deck is very slippery.",
        )
    batches = {product.pk: make_batches(random, product) for product in finishes}
    return DemoProducts(finishes, batches)


def make_batches(random: Random, product: Product) -> list[Batch]:
    initials = "".join(word[0] for word in product.name.split())
    return [
        Batch.objects.create(product=product, code=f"{initials}-{year}/{random.randint(100, 999)}")
        for year in range(18, 27)
    ]


def make_client(random: Random, number: int, now: datetime) -> Client:
    name = f"{GIVEN[number % len(GIVEN)]} {FAMILY[(number * 7) % len(FAMILY)]}"
    client = Client.objects.create(name=name, language="fr" if number % 12 == 8 else "")
    if number % 9 != 4:
        address = f"{name.split()[0].lower()}.{number}@example.org"
        ContactPoint.objects.create(
            client=client, kind="email", value=address, normalized=address, is_preferred=True
        )
    phone = f"+1902555{100 + number % 100:04d}"
    ContactPoint.objects.create(
        client=client,
        kind="mobile",
        value=f"902-555-{phone[-4:]}",
        normalized=phone,
        is_preferred=True,
    )
    if number % 9 != 4 and random.random() < 0.85:
        add_demo_consent(client, address, now)
    return client


def add_demo_consent(client: Client, address: str, now: datetime) -> None:
    with display.in_client_language(client.language):
        wording = consent_wording(Business.objects.get(), Channel("email"), address)
    Consent.objects.create(
        client=client,
        channel="email",
        is_given=True,
        basis="express",
        evidence="Ticked on the sign-off form",
        wording=wording,
        asked_where=Consent.AskedWhere.SIGN_OFF,
        recorded_at=now - timedelta(days=400),
    )


def make_decks(random: Random, number: int, client: Client) -> Iterator[Deck]:
    home = make_property(random, number, client)
    labels = (
        ["Back deck", "Front steps and landing"]
        if number % 6 == 0
        else [random.choice(["Back deck", "Sun deck"])]
    )
    for label in labels:
        yield make_deck(random, home, label)
    if number == 11:
        yield make_deck(
            random, make_property(random, number, client, FAR_TOWN), "Summer house deck"
        )


def make_property(
    random: Random, number: int, client: Client, far: tuple[str, str] | None = None
) -> Property:
    name, country = far or (TOWNS[number * 5 % len(TOWNS)], "CA")
    places = Place.objects.filter(name=name, country=country)
    place = (places if far else places.filter(region="Nova Scotia")).order_by("-population")[0]
    return Property.objects.create(
        client=client,
        street=f"{random.randint(1, 240)} {random.choice(BIRDS)} {random.choice(ENDINGS)}",
        town=name,
        region=place.region,
        country=country,
        latitude=place.latitude,
        longitude=place.longitude,
        time_zone=place.time_zone,
    )


def make_deck(random: Random, home: Property, label: str) -> Deck:
    shade = random.choice([0, 0, 0, 10, 30, 60])
    return Deck.objects.create(
        site=home,
        label=label,
        area_m2=Decimal(random.randint(90, 620)) / 10,
        rail_m=Decimal(random.randint(0, 18)),
        stair_treads=random.randint(0, 8),
        built_year=random.randint(1998, 2022),
        species=random.choice(
            ["treated_pine", "treated_pine", "red_cedar", "white_cedar", "ipe", "spruce", "larch"]
        ),
        texture=random.choice(["smooth", "smooth", "sawn", "weathered"]),
        summer_shade_percent=shade,
        winter_shade_percent=shade // 2,
        roof_percent=random.choice([0, 0, 0, 0, 25, 60]),
        traffic=random.choice(["light", "household", "household", "heavy"]),
        salt=random.choice(["none", "none", "near", "spray"]),
        litter=random.choice(["none", "some", "some", "heavy"]),
    )


@dataclass(frozen=True)
class DemoFinish:
    """What goes on a deck year after year; a batch for each year from 2018 on."""

    product: Product
    colour: str
    batches: list[Batch]


def make_history(
    random: Random, deck: Deck, shelf: DemoProducts, business: Business, today: date
) -> None:
    """A strip some years ago, then recoats about when they were due; some clients then forgot."""
    product = random.choices(shelf.finishes, weights=[6, 2, 3, 3, 1])[0]
    finish = DemoFinish(product, random.choice(product.colour_list), shelf.batches[product.pk])
    day = in_season(today - timedelta(days=random.randint(200, 7 * 365)), business)
    last: date | None = None
    kind = "strip"
    life = life_months(random, deck, product)
    while day < today - timedelta(days=14):
        grade = found_grade(random, life, last, day)
        add_demo_job(random, deck, finish, kind=kind, day=day, grade=grade)
        if random.random() < 0.07:
            return  # the client forgot, and so did we
        last = day
        kind = "recoat"
        day = in_season(day + timedelta(days=int(30.4 * life * random.gauss(0.95, 0.2))), business)
        add_routine_visit(random, deck, life, last, before=min(day, today))


def in_season(day: date, business: Business) -> date:
    """The same day, or the next one in a month in which crews work."""
    while day.month not in business.season_months:
        day += timedelta(days=9)
    return day


def life_months(random: Random, deck: Deck, product: Product) -> float:
    """How long a coat of this product lasts on this deck, which nobody in the book knows."""
    wear = WEAR[deck.texture] * WEAR[deck.traffic] * WEAR[deck.salt]
    leaves = WEAR["heavy leaves" if deck.litter == "heavy" else deck.litter]
    roof = 1 + 1.2 * deck.roof_percent / 100
    shade = 1 + 0.4 * (deck.summer_shade_percent or 0) / 100
    return (
        LIFE_MONTHS[product.finish_class]
        * wear
        * leaves
        * roof
        * shade
        * random.lognormvariate(0, 0.12)
    )


def add_routine_visit(
    random: Random, deck: Deck, life: float, coated_on: date, *, before: date
) -> None:
    """Now and then somebody is in the street and looks at the deck between two jobs."""
    day = coated_on + timedelta(days=random.randint(120, 400))
    if random.random() < 0.5 and day < before:
        grade = found_grade(random, life, coated_on, day)
        Visit.objects.create(
            deck=deck,
            visited_on=day,
            overall=grade,
            reason="routine",
            found_by=random.choice(CREWS),
        )


def found_grade(random: Random, life: float, last: date | None, day: date) -> int:
    if last is None:
        return random.choice([4, 5])
    worn = (day - last).days / 30.4 / life / random.lognormvariate(0, 0.22)
    return min(5, max(0, int(3 * worn)))


def add_demo_job(
    random: Random, deck: Deck, finish: DemoFinish, *, kind: str, day: date, grade: int
) -> None:
    product = finish.product
    crew = random.choice(CREWS)
    visit = Visit.objects.create(
        deck=deck,
        visited_on=day,
        overall=grade,
        greying=grade,
        beading=min(5, grade + 1),
        mould=random.choice([0, 0, 1, 2]),
        reason="due" if kind == "recoat" else "quote",
        found_by=crew,
        moisture_percent=Decimal(random.randint(100, 175)) / 10,
    )
    area = deck.area_m2 or Decimal(0)
    surfaces = covered_surfaces(deck, kind)
    job = Job.objects.create(
        deck=deck,
        visit=visit,
        kind=kind,
        finished_on=day,
        crew=crew,
        air_c=random.randint(13, 27),
        humidity_percent=random.randint(45, 80),
        sky=random.choice(["sun", "cloud", "shade"]),
        currency="CAD",
        amount=(area * PRICE_PER_M2[kind]).quantize(Decimal("0.01")),
        notes=random.choice(JOB_NOTES),
    )
    coats = 1 if kind == "recoat" else product.coats_usual
    litres = (
        covered_m2(deck, surfaces)
        * coats
        / Decimal(product.spread_m2_per_l or 9)
        * Decimal(random.randint(95, 118))
        / 100
    )
    CoatApplied.objects.create(
        job=job,
        position=1,
        product=product,
        colour=finish.colour,
        surfaces=surfaces,
        coats=coats,
        litres=litres.quantize(Decimal("0.1")) or None,
        batch=finish.batches[min(8, max(0, day.year - 2018))],
    )


def covered_surfaces(deck: Deck, kind: str) -> list[str]:
    """All after a strip; the first, third and so on of the recoats leave rails out."""
    leaves_rails = kind == "recoat" and deck.jobs.filter(kind="recoat").count() % 2 == 0
    return [name for name in deck.surfaces if not (leaves_rails and name == "rails")]


def covered_m2(deck: Deck, surfaces: Collection[str]) -> Decimal:
    """0 of a deck whose size nobody knows."""
    sizes = surfaces_of(deck)
    areas = (size for name, size in sizes.nonzero_areas() if name in surfaces) if sizes else ()
    return sum(areas, Decimal(0))
