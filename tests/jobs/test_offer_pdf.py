"""The offer on paper, read back with pypdf: what it says, its size, its tags and its fonts."""

from datetime import date
from io import BytesIO
from typing import Any

import pytest
from django.utils import timezone
from pypdf import PdfReader
from pypdf.generic import DictionaryObject

from clients.models import Business, Property
from jobs.models import Offer, OfferTerms
from jobs.offers.links import offer_url
from jobs.pdf import offer_pdf
from reminders.actions import refresh_forecasts
from tests.factories import (
    CoatFactory,
    DeckFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
    OfferTaxFactory,
    PhotoFactory,
)
from tests.jobs.offer_book import deck, drafted, price_list, reachable
from tests.type_sizes import type_sizes

pytestmark = pytest.mark.slow

MM = 72 / 25.4
# ISO 216: A4 is 210 mm × 297 mm. ANSI/ASME Y14.1: size A (Letter) is 8.5 in × 11 in, from memory.
A4 = (210 * MM, 297 * MM)
LETTER = (8.5 * 72, 11 * 72)


@pytest.fixture
def offer(business: Business) -> Offer:
    """One deck with a photograph and a forecast."""
    offer = OfferFactory(is_sent=True, number=204)
    scope = OfferScopeFactory(offer=offer, deck__label="Sun deck")
    CoatFactory(job__deck=scope.deck, product=scope.product, job__finished_on=date(2025, 6, 12))
    PhotoFactory(deck=scope.deck, caption="Greyed along the rail")
    OfferLineFactory(offer=offer, scope=scope)
    OfferTaxFactory(offer=offer)
    refresh_forecasts(today=date(2026, 11, 20), now=timezone.now())
    return offer


def read(pdf: bytes) -> PdfReader:
    return PdfReader(BytesIO(pdf), strict=True)


def words(reader: PdfReader) -> str:
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def elements(reader: PdfReader) -> list[DictionaryObject]:
    """Every structure element that can be reached from the root, in reading order."""

    def walk(node: Any) -> list[DictionaryObject]:
        node = node.get_object()
        if not isinstance(node, DictionaryObject) or "/S" not in node:
            return []
        kids = node.get("/K", [])
        kids = kids if isinstance(kids, list) else [kids]
        return [node, *[found for kid in kids if not isinstance(kid, int) for found in walk(kid)]]

    return [found for kid in reader.root_object["/StructTreeRoot"]["/K"] for found in walk(kid)]


def test_it_says_what_is_done_why_for_how_much_until_when_and_how_to_answer(offer: Offer) -> None:
    url = offer_url("a-link-of-our-own")
    reader = read(offer_pdf(offer, url=url, is_detailed=True))

    text = words(reader)

    for part in (
        "Offer 204",
        "Driftline Deck Care",
        "4 Tern Wharf",
        offer.client.name,
        "Sun deck: clean and recoat",
        "water soaks in instead of beading",
        "Clean and seal in two coats",
        "18 m²",
        "$27.67",
        "$498.06",
        "HST 15 %",
        "$74.71",
        "Total, tax included $572.77",
        "Nov 20, 2026",
        "Dec 20, 2026",
        "Greyed along the rail",
        "(902) 555-0100",
        "The product’s data sheet and local rules go before anything said here.",
    ):
        assert part in text, part
    links = [note.get_object() for page in reader.pages for note in page.get("/Annots", [])]
    assert url in [link["/A"]["/URI"] for link in links if "/A" in link]


@pytest.mark.parametrize(("country", "size"), [("CA", LETTER), ("NZ", A4)])
def test_it_fits_the_paper_of_the_country(
    offer: Offer, country: str, size: tuple[float, float]
) -> None:
    Business.objects.update(country=country)

    reader = read(offer_pdf(offer))

    for page in reader.pages:
        assert [float(side) for side in page.mediabox] == pytest.approx([0, 0, *size], abs=0.01)


def test_it_is_tagged_as_a_reader_that_speaks_needs_it(offer: Offer) -> None:
    # ISO 14289-1 (PDF/UA-1), 7.1 to 7.5, 7.11: marked, language, title shown, headings, tables with
    # headers, figures with words. Clause numbers from memory; a checker of the whole standard is
    # not at hand.
    reader = read(offer_pdf(offer, url=offer_url("a-link-of-our-own")))
    root: Any = reader.root_object

    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert reader.metadata
    assert reader.metadata.title == "Offer 204 · Driftline Deck Care"
    assert 'pdfuaid:part="1"' in root["/Metadata"].get_data().decode()
    tags: list[Any] = elements(reader)
    kinds = [str(tag["/S"]) for tag in tags]
    headings = [kind for kind in kinds if kind in {"/H1", "/H2"}]
    assert headings == ["/H1", *["/H2"] * 5]  # deck, price, answer, right to cancel, while we work
    assert {"/P", "/Table", "/TR", "/TH", "/TD", "/Link"} <= set(kinds)
    figures = [tag["/Alt"] for tag in tags if tag["/S"] == "/Figure"]
    assert figures[0] == "Greyed along the rail"
    assert figures[1] == "Code that opens the page of this offer on a phone"
    headers = [tag for tag in tags if tag["/S"] == "/TD" and tag["/A"].get("/Headers")]
    assert len(headers) > 3


def test_every_font_goes_with_it_and_can_be_read_back(offer: Offer) -> None:
    reader = read(offer_pdf(offer))

    fonts = [
        font.get_object() for page in reader.pages for font in page["/Resources"]["/Font"].values()
    ]

    assert fonts
    for font in fonts:
        descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"]
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(descriptor)
        assert "/ToUnicode" in font


def test_prices_that_hold_the_tax_say_how_much_of_it(offer: Offer) -> None:
    Offer.objects.update(tax_mode="inclusive")
    offer.refresh_from_db()

    text = words(read(offer_pdf(offer)))

    assert "Total, tax included $572.77 of which HST 15 % $74.71" in text
    assert "Before tax" not in text


def test_without_photo_forecast_or_link_it_is_an_offer_all_the_same(business: Business) -> None:
    scope = OfferScopeFactory(
        work="strip", stripper_applications=2, product=None, offer__number=7, offer__revision=2
    )

    text = words(read(offer_pdf(scope.offer)))

    assert "Offer 7-2" in text
    assert "with 2 applications of stripper" in text
    assert "Tell us by Dec 20, 2026" in text


def test_what_somebody_typed_is_print_not_markup(offer: Offer) -> None:
    offer.introduction = "Rails < 1 m & <b>no</b> stairs; <img src='file:///etc/hostname'>"
    offer.save()

    assert "Rails < 1 m & <b>no</b> stairs; <img src='file:///etc/hostname'>" in words(
        read(offer_pdf(offer))
    )


def test_an_offer_of_several_decks_names_the_deck_above_its_lines(offer: Offer) -> None:
    second = OfferScopeFactory(offer=offer, deck__label="Landing", position=2)
    OfferLineFactory(offer=offer, scope=second, words="Seal the landing")
    OfferLineFactory(offer=offer, words="Travel beyond 20 km", kind="travel")

    text = words(read(offer_pdf(offer, is_detailed=True)))

    assert text.index("Sun deck Clean and seal") < text.index("Landing Seal the landing")
    assert text.index("Seal the landing") < text.index("For the visit Travel beyond 20 km")


def test_waiting_is_weighed_in_money_and_steps_are_named(offer: Offer) -> None:
    after = [{"months": 6, "strip_chance": 0.128, "expected_cost": "752.82"}]
    offer.waiting = {"recoat": "634.35", "after": after}
    offer.save()
    offer.scopes.update(
        steps=[
            {"task": "clean", "title": "Foam Wash", "wait": "20 minutes to act"},
            {"task": "", "title": "Let the wood dry", "wait": "24 hours in winter"},
            {"task": "coat", "title": "Seal", "wait": ""},
            {"task": "", "title": "Walking", "wait": "36 hours after the last coat"},
            {"task": "", "title": "Furniture", "wait": "7 days after the last coat"},
        ]
    )
    offer.lines.update(unit="tread", quantity=4)

    text = words(read(offer_pdf(offer)))

    # What is to be paid, and what waiting adds to it: 752.82 − 634.35 = 118.47.
    assert "In 6 months the same work is likely to cost about $691.24" in text
    assert "a chance of 13 % that only a strip will do" in text
    assert "It is a forecast, not a promise." in text
    for step in (
        "We wash the boards and rinse them.",
        "The wood dries: 24 hours in winter.",
        "You walk on it 36 hours after the last coat; furniture comes back 7 days after",
    ):
        assert step in text, step
    assert "Foam Wash" not in text
    assert "4 treads" in words(read(offer_pdf(offer, is_detailed=True)))


def test_an_offer_is_one_page_with_its_sums_in_few_lines_and_a_place_to_sign(
    business: Business,
) -> None:
    Business.objects.update(tax_number="HST 12345 6789 RT0001")
    price_list()
    home = deck(site__travel_km=40, site__region="Nova Scotia", site__postcode="B0J 2C0")
    made = drafted(reachable(home))
    made.lines.create(
        position=90, kind="less", words="For the wait", quantity=1, unit_price=-5, amount=-5
    )

    reader = read(offer_pdf(Offer.objects.get(), url=offer_url("a-link-of-our-own")))
    text = words(reader)

    assert len(reader.pages) == 1
    work = sum(line.amount for line in made.lines.all() if line.kind == "work")
    for part in (
        f"Work ${work:,.2f}",
        "Materials $",
        "For the wait −$5.00",
        "Days on site 2",
        "Total, tax included",
        "HST 12345 6789 RT0001",
        "4 Tern Wharf, Lunenburg NS",
        "Yes, please do this work. Date, signature:",
    ):
        assert part in text, part
    assert "m² $" not in text
    assert text.count("Driftwood") == 1


def test_steps_that_are_the_same_on_each_deck_are_said_once_and_two_decks_fit_one_page(
    business: Business,
) -> None:
    price_list()
    first = reachable(deck(label="Sun deck", site__country="US", site__region="Maine"))
    product = first.jobs.get().coats_applied.get().product
    second = DeckFactory(site=first.site, label="Dock")
    CoatFactory(job__deck=second, product=product, job__finished_on=date(2025, 6, 12))
    offer = drafted(first, second)
    same = read(offer_pdf(offer, url=offer_url("a-link-of-our-own")))
    other = offer.scopes.last()
    assert other is not None
    other.coats += 1
    other.save()
    differing = read(offer_pdf(Offer.objects.get(), url=offer_url("a-link-of-our-own")))

    assert len(same.pages) == 1
    assert words(same).count("We wash the boards") == 1
    assert words(same).index("Dock:") < words(same).index("We wash the boards")
    assert words(differing).count("We wash the boards") == 2


@pytest.fixture
def usual_offer(business: Business) -> Offer:
    """A recoat of one deck with all terms, a deposit and a link."""
    OfferTerms.objects.create(
        language="en",
        payment="The rest within 14 days, by transfer or cheque. Repairs are not included.",
        warranty="What peels within 12 months we put right. Not covered: wear by use, boards that"
        " move, standing water.",
        cancellation="Free until 7 days before the visit; after that we keep the deposit.",
        insurance="Liability insurance of two million dollars; ask for the certificate.",
    )
    price_list(deposit_percent=25)
    return drafted(reachable(deck(site__travel_km=40, site__postcode="B0J 2C0")))


def test_a_usual_offer_with_all_terms_is_one_page(usual_offer: Offer) -> None:
    Property.objects.filter(pk=usual_offer.site_id).update(country="US", region="Maine")
    usual_offer.site.refresh_from_db()
    reader = read(offer_pdf(usual_offer, url=offer_url("a-link-of-our-own")))
    text = words(reader)

    assert len(reader.pages) == 1
    for part in ("Deposit, when you accept", "Warranty and its limits.", "on the terms below"):
        assert part in text, part
    assert "cancel this contract" not in text


def test_in_the_provinces_the_right_stands_in_large_letters_before_the_signature(
    usual_offer: Offer,
) -> None:
    """AR 191/99 s. 3: on the front, heading and the ten days in 12 points or more, the rest in 10;
    what is signed stands on one page, terms may follow on the next."""
    reader = read(offer_pdf(usual_offer, url=offer_url("a-link-of-our-own")))
    sizes = list(type_sizes(reader.pages[0]))
    front = reader.pages[0].extract_text()
    found = {start: size for start in RIGHT for text, size in sizes if start in text}

    assert all(found[start] >= least * 0.99 for start, least in RIGHT.items()), found
    assert front.index("Your right to cancel") < front.index("You may cancel this contract")
    assert front.index("You may cancel this contract") < front.index("Date, signature")
    assert len(reader.pages) <= 2


RIGHT = {"You may cancel this contract": 12, "If the work is not done within": 10}


def test_nothing_on_paper_is_smaller_than_nine_points(offer: Offer) -> None:
    reader = read(offer_pdf(offer, url=offer_url("a-link-of-our-own")))
    sizes = {size for page in reader.pages for _text, size in type_sizes(page)}

    assert min(sizes) >= 9 * 0.99, sizes
