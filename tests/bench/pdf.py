"""Offers as PDF with photograph, wear picture, tags and all, against WeasyPrint on their bare
HTML."""

import re
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from tempfile import TemporaryDirectory

from django.core.files.base import ContentFile
from django.template.loader import render_to_string
from django.test.utils import override_settings
from PIL import Image
from weasyprint import HTML

from clients import display
from clients.models import Business, Deck
from jobs.actions.offers import next_offer_number
from jobs.models import Offer, OfferLine, OfferScope, OfferTax, Photo, PriceList, Product
from jobs.pdf import offer_pdf
from jobs.pdf.offer import OFFER_PDF_TEMPLATE, offer_pdf_context
from jobs.photos import keep_small_copy
from jobs.pictures import encode_jpeg
from reminders.actions import refresh_forecasts
from tests.bench.timing import time_in_turn

BATCH = 40
LINES = [
    ("Set up and protect surrounds", 1, 60),
    ("Clean", 30, 6),
    ("Light sand", 30, 3),
    ("Seal, 2 coats", 60, 9),
    ("Tidewood Deck Oil, Driftwood", 7, 22),
    ("Travel beyond 20 km", 30, 1),
]


def measure_offer_pdf(offers: int, today: date, now: datetime) -> dict[str, float]:
    """Every offer is printed once by each side, in turn by batches.

    The other side has the same text as a finished string: no style sheet, pictures, tags or
    database.
    """
    with TemporaryDirectory() as folder, override_settings(MEDIA_ROOT=folder):
        made = make_bench_offers(offers + BATCH, today, now)
        ours = offer_batches(made)
        bare = [bare_html(offer) for offer in made]
        theirs = iter([bare[n : n + BATCH] for n in range(0, len(bare), BATCH)])
        pair = time_in_turn(
            lambda: [offer_pdf(Offer.objects.get(pk=offer.pk), url=URL) for offer in next(ours)],
            lambda: [HTML(string=html).write_pdf() for html in next(theirs)],
            times=len(made) // BATCH - 1,
        )
    printed = float(len(made) - BATCH)  # without the warm-up
    return {
        "offers": printed,
        "ours_s": sum(pair.ours),
        "weasyprint_s": sum(pair.other),
        "ratio": pair.ratio,
    }


URL = "https://decks.example.com/o/0123456789abcdef0123456789abcdef/"


def offer_batches(offers: list[Offer]) -> Iterator[list[Offer]]:
    return iter([offers[n : n + BATCH] for n in range(0, len(offers), BATCH)])


def make_bench_offers(count: int, today: date, now: datetime) -> list[Offer]:
    """Offers of one deck each, with a forecast and a photograph of their own."""
    decks = list(Deck.objects.select_related("site__client").order_by("pk")[:count])
    refresh_forecasts(deck_ids=[deck.pk for deck in decks], today=today, now=now)
    prices, _ = PriceList.objects.get_or_create(valid_from=today, defaults={"currency": "CAD"})
    product = Product.objects.finishes()[0]
    return [
        make_bench_offer(deck, number, prices, product, today, now)
        for number, deck in enumerate(decks, start=next_offer_number())
    ]


def make_bench_offer(
    deck: Deck, number: int, prices: PriceList, product: Product, today: date, now: datetime
) -> Offer:
    net = Decimal(sum(quantity * price for _, quantity, price in LINES))
    tax = (net * Decimal("0.15")).quantize(Decimal("0.01"))
    offer = Offer.objects.create(
        number=number,
        client=deck.site.client,
        site=deck.site,
        price_list=prices,
        state=Offer.State.OPEN,
        currency="CAD",
        tax_mode="exclusive",
        tax_rounding="total",
        net=net,
        tax=tax,
        total=net + tax,
        sent_at=now,
        drafted_on=today,
        valid_until=today + timedelta(days=30),
    )
    scope = OfferScope.objects.create(
        offer=offer,
        deck=deck,
        work="recoat",
        product=product,
        colour="Driftwood",
        same_as_last=True,
        why=(
            "Two coats since the last strip; up to six carry another: a clean and a new coat"
            " will do."
        ),
    )
    OfferLine.objects.bulk_create(
        OfferLine(
            offer=offer,
            scope=scope,
            position=place,
            kind="work",
            words=words,
            quantity=quantity,
            unit="m²",
            unit_price=price,
            amount=quantity * price,
        )
        for place, (words, quantity, price) in enumerate(LINES, start=1)
    )
    OfferTax.objects.create(offer=offer, name="HST", percent=15, base=net, amount=tax)
    blotches = Image.effect_noise((160, 120), 40 + number % 20).resize((1600, 1200)).convert("RGB")
    photo = Photo.objects.create(
        deck=deck, image=ContentFile(encode_jpeg(blotches), name="deck.jpg"), taken_on=today
    )
    keep_small_copy(photo.image.name or "")
    return offer


def bare_html(offer: Offer) -> str:
    business = Business.objects.get()
    with display.override_business(business):
        html = render_to_string(OFFER_PDF_TEMPLATE, offer_pdf_context(offer, business, URL))
    return re.sub(r"<svg.*?</svg>|<img[^>]*>", "", html, flags=re.DOTALL)
