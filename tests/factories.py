"""Builders of rows, all in the invented scenario: Driftline Deck Care on the coast of Nova Scotia."""

from datetime import date
from decimal import Decimal

import factory
from factory.django import DjangoModelFactory

from clients import models as clients
from jobs import models as jobs


class BusinessFactory(DjangoModelFactory):
    class Meta:
        model = clients.Business
        django_get_or_create = ["id"]

    id = 1
    name = "Driftline Deck Care"
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


class UserFactory(DjangoModelFactory):
    class Meta:
        model = clients.User
        django_get_or_create = ["username"]
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"person{n}")
    first_name = factory.LazyAttribute(lambda user: user.username.title())
    role = "owner"
    password = factory.django.Password("low tide at seven")


class ClientFactory(DjangoModelFactory):
    class Meta:
        model = clients.Client

    name = factory.Sequence(lambda n: f"Marlow Pennington {n}")


class EmailFactory(DjangoModelFactory):
    class Meta:
        model = clients.ContactPoint

    client = factory.SubFactory(ClientFactory)
    kind = "email"
    value = factory.Sequence(lambda n: f"client{n}@example.org")
    normalized = factory.LazyAttribute(lambda point: point.value.lower())
    is_preferred = True


class PhoneFactory(DjangoModelFactory):
    class Meta:
        model = clients.ContactPoint

    client = factory.SubFactory(ClientFactory)
    kind = "mobile"
    value = factory.Sequence(lambda n: f"902-555-01{n % 100:02d}")
    normalized = factory.LazyAttribute(lambda point: "+1" + "".join(filter(str.isdigit, point.value)))
    is_preferred = True


class ConsentFactory(DjangoModelFactory):
    class Meta:
        model = clients.Consent

    client = factory.SubFactory(ClientFactory)
    channel = "email"
    is_given = True
    wording = "Yes, remind me by e-mail when my deck is due."
    evidence = "sign-off form"


class PropertyFactory(DjangoModelFactory):
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


class DeckFactory(DjangoModelFactory):
    class Meta:
        model = clients.Deck

    property = factory.SubFactory(PropertyFactory)
    label = factory.Sequence(lambda n: f"Back deck {n}")
    area_m2 = Decimal("18.00")


class ProductFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Product

    name = factory.Sequence(lambda n: f"Tidewood Deck Oil {n}")
    maker = "Tidewood"
    kind = "finish"
    finish_class = "penetrating_oil"
    colours = "Driftwood, Cedar, Slate"
    spread_m2_per_l = Decimal("9")


class BatchFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Batch

    product = factory.SubFactory(ProductFactory)
    code = factory.Sequence(lambda n: f"TW-{n:04d}")


class VisitFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Visit

    deck = factory.SubFactory(DeckFactory)
    visited_on = date(2026, 6, 12)
    overall = 2


class JobFactory(DjangoModelFactory):
    class Meta:
        model = jobs.Job

    deck = factory.SubFactory(DeckFactory)
    kind = "strip"
    finished_on = date(2025, 6, 12)
    crew = "Tern crew"


class CoatFactory(DjangoModelFactory):
    class Meta:
        model = jobs.CoatApplied

    job = factory.SubFactory(JobFactory)
    position = factory.Sequence(lambda n: n + 1)
    product = factory.SubFactory(ProductFactory)
    colour = "Driftwood"
    coats = 2
    litres = Decimal("4")


class MessageFactory(DjangoModelFactory):
    class Meta:
        model = clients.Message

    client = factory.SubFactory(ClientFactory)
    kind = "reminder"
    channel = "email"
    idempotency_key = factory.Sequence(lambda n: f"due/test/{n}")
    address = factory.Sequence(lambda n: f"client{n}@example.org")
    subject = "Your deck is due this spring"
    text = "The finish on your deck is due."
    message_id = factory.Sequence(lambda n: f"<{n}@example.com>")
