"""Builders of rows, all in the invented scenario:
Driftline Deck Care on the coast of Nova Scotia."""

from datetime import UTC, date, datetime
from decimal import Decimal

import factory

from clients import models as clients
from clients.messaging import models as messaging
from jobs import models as jobs
from reminders import models as reminders
from tests.rows import RowFactory


class BusinessFactory(RowFactory):
    class Meta:
        model = clients.Business
        django_get_or_create = ["id"]

    id = 1
    name = "Driftline Deck Care"
    wants_photos = False  # else each job without one is doubted
    street = "4 Tern Wharf"
    town = "Lunenburg"
    region = "Nova Scotia"
    postcode = "B0J 2C0"
    country = "CA"
    phone = "902-555-0100"
    email = "office@example.com"
    sender_email = "reminders@example.com"
    time_zone = "America/Halifax"
    locale = "en-CA"
    currency = "CAD"
    season_months = [5, 6, 7, 8, 9, 10]


class UserFactory(RowFactory):
    class Meta:
        model = clients.User
        django_get_or_create = ["username"]
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"person{n}")
    first_name = factory.LazyAttribute(lambda user: user.username.title())
    role = "owner"
    password = factory.django.Password("low tide at seven")


class ClientFactory(RowFactory):
    class Meta:
        model = clients.Client

    name = factory.Sequence(lambda n: f"Marlow Pennington {n}")


class EmailFactory(RowFactory):
    class Meta:
        model = clients.ContactPoint

    client = factory.SubFactory(ClientFactory)
    kind = "email"
    value = factory.Sequence(lambda n: f"client{n}@example.org")
    normalized = factory.LazyAttribute(lambda point: point.value.lower())
    is_preferred = True


class PhoneFactory(RowFactory):
    class Meta:
        model = clients.ContactPoint

    client = factory.SubFactory(ClientFactory)
    kind = "mobile"
    value = factory.Sequence(lambda n: f"902-555-01{n % 100:02d}")
    normalized = factory.LazyAttribute(
        lambda point: "+1" + "".join(filter(str.isdigit, point.value))
    )
    is_preferred = True


class ConsentFactory(RowFactory):
    class Meta:
        model = messaging.Consent

    client = factory.SubFactory(ClientFactory)
    channel = "email"
    is_given = True
    wording = "Yes, remind me by e-mail when my deck is due."
    evidence = "sign-off form"


class PropertyFactory(RowFactory):
    class Meta:
        model = clients.Property

    client = factory.SubFactory(ClientFactory)
    street = factory.Sequence(lambda n: f"{n + 1} Cormorant Lane")
    town = "Lunenburg"
    region = "Nova Scotia"
    country = "CA"
    latitude = 44.38
    longitude = -64.31
    time_zone = "America/Halifax"


class DeckFactory(RowFactory):
    class Meta:
        model = clients.Deck

    site = factory.SubFactory(PropertyFactory)
    label = factory.Sequence(lambda n: f"Back deck {n}")
    area_m2 = Decimal("18.00")
    species = "treated_pine"
    summer_shade_percent = 0
    winter_shade_percent = 0


class ProductFactory(RowFactory):
    class Meta:
        model = jobs.Product

    name = factory.Sequence(lambda n: f"Tidewood Deck Oil {n}")
    maker = "Tidewood"
    kind = "finish"
    finish_class = "penetrating_oil"
    colours = "Driftwood, Cedar, Slate"
    spread_m2_per_l = Decimal("9")


class BatchFactory(RowFactory):
    class Meta:
        model = jobs.Batch

    product = factory.SubFactory(ProductFactory)
    code = factory.Sequence(lambda n: f"TW-{n:04d}")


class VisitFactory(RowFactory):
    class Meta:
        model = jobs.Visit

    deck = factory.SubFactory(DeckFactory)
    visited_on = date(2026, 6, 12)
    overall = 2


class JobFactory(RowFactory):
    class Meta:
        model = jobs.Job

    deck = factory.SubFactory(DeckFactory)
    kind = "strip"
    finished_on = date(2025, 6, 12)
    crew = "Tern crew"


class CoatFactory(RowFactory):
    class Meta:
        model = jobs.CoatApplied

    job = factory.SubFactory(JobFactory)
    position = factory.Sequence(lambda n: n + 1)
    product = factory.SubFactory(ProductFactory)
    colour = "Driftwood"
    coats = 2
    litres = Decimal("4")


class MessageFactory(RowFactory):
    class Meta:
        model = messaging.Message

    client = factory.SubFactory(ClientFactory)
    kind = "reminder"
    channel = "email"
    idempotency_key = factory.Sequence(lambda n: f"due/test/{n}")
    address = factory.Sequence(lambda n: f"client{n}@example.org")
    subject = "Your deck is due this spring"
    text = "The finish on your deck is due."
    message_id = factory.Sequence(lambda n: f"<{n}@example.com>")


class PhotoFactory(RowFactory):
    class Meta:
        model = jobs.Photo

    deck = factory.SubFactory(DeckFactory)
    moment = "found"
    image = factory.django.ImageField(width=640, height=480, color="#8d6f52", format="JPEG")
    taken_on = date(2026, 9, 14)


class PriceListFactory(RowFactory):
    class Meta:
        model = jobs.PriceList
        django_get_or_create = ["valid_from"]

    valid_from = date(2026, 1, 1)
    currency = "CAD"


class OfferFactory(RowFactory):
    """A draft; `is_sent=True` for one that the client has."""

    class Meta:
        model = jobs.Offer

    class Params:
        is_sent = factory.Trait(state="open", sent_at=datetime(2026, 11, 20, 14, 30, tzinfo=UTC))

    number = factory.Sequence(lambda n: 1000 + n)  # tests that name one name a lower one
    client = factory.LazyAttribute(lambda offer: offer.site.client)
    site = factory.SubFactory(PropertyFactory)
    price_list = factory.SubFactory(PriceListFactory)
    currency = "CAD"
    tax_mode = "exclusive"
    tax_rounding = "total"
    net = Decimal("498.06")
    tax = Decimal("74.71")
    total = Decimal("572.77")
    hours = Decimal("6.50")
    drafted_on = date(2026, 11, 20)
    valid_until = date(2026, 12, 20)


class OfferScopeFactory(RowFactory):
    class Meta:
        model = jobs.OfferScope

    offer = factory.SubFactory(OfferFactory)
    deck = factory.SubFactory(DeckFactory, site=factory.SelfAttribute("..offer.site"))
    work = "recoat"
    product = factory.SubFactory(ProductFactory)
    colour = "Driftwood"
    same_as_last = True
    why = "The finish is due: water soaks in instead of beading."
    hours = Decimal("6.50")


class OfferLineFactory(RowFactory):
    class Meta:
        model = jobs.OfferLine

    offer = factory.SubFactory(OfferFactory)
    position = factory.Sequence(lambda n: n + 1)
    kind = "work"
    words = "Clean and seal in two coats"
    quantity = Decimal("18.00")
    unit = "m²"
    unit_price = Decimal("27.67")
    amount = Decimal("498.06")


class OfferTaxFactory(RowFactory):
    class Meta:
        model = jobs.OfferTax

    offer = factory.SubFactory(OfferFactory)
    name = "HST"
    percent = Decimal("15")
    base = Decimal("498.06")
    amount = Decimal("74.71")


class CrewFactory(RowFactory):
    class Meta:
        model = jobs.Crew
        django_get_or_create = ["name"]

    name = factory.Sequence(lambda n: f"Tern crew {n}")
    hours_a_day = Decimal("8")
    position = factory.Sequence(lambda n: n + 1)


class ReminderStepFactory(RowFactory):
    class Meta:
        model = reminders.ReminderStep
        django_get_or_create = ["number"]

    number = factory.Sequence(lambda n: n % 9 + 1)
    purpose = "first"
    anchor = "opens"
    channels = ["email"]


class PackFactory(RowFactory):
    class Meta:
        model = jobs.Pack

    product = factory.SubFactory(ProductFactory)
    litres = Decimal("4")
    price = Decimal("149")


class TinFactory(RowFactory):
    class Meta:
        model = jobs.StockTin

    product = factory.SubFactory(ProductFactory)
    colour = "Driftwood"
    litres = Decimal("2.5")
    noted_on = date(2026, 6, 1)
