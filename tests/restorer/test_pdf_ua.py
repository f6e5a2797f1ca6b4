"""Everything we print against ISO 14289-1, as far as a machine can check it without a checker of
the whole standard."""

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone
from pypdf import PdfWriter
from pypdf.generic import NameObject

from jobs.actions.booking_inputs import NewBooking
from jobs.actions.bookings import book_work
from jobs.models import Defect, Job, Offer, StructureCheck
from jobs.offers.links import offer_url
from jobs.pdf import care_record_pdf, offer_pdf, structure_report_pdf
from jobs.work.care_record import build_care_record
from reminders.actions import refresh_forecasts
from reminders.models import Forecast
from tests.factories import (
    BatchFactory,
    CoatFactory,
    CrewFactory,
    DeckFactory,
    OfferFactory,
    OfferLineFactory,
    OfferScopeFactory,
    OfferTaxFactory,
    PhotoFactory,
    PropertyFactory,
)
from tests.pdf_ua import Papers, faults

pytestmark = [pytest.mark.slow, pytest.mark.usefixtures("business")]


def an_offer() -> bytes:
    """With photograph, wear curve, several decks, the price of waiting and a link."""
    after = [{"months": 6, "strip_chance": 0.128, "expected_cost": "752.82"}]
    offer: Offer = OfferFactory(
        is_sent=True, number=204, waiting={"recoat": "634.35", "after": after}
    )
    scope = OfferScopeFactory(offer=offer, deck__label="Sun deck")
    CoatFactory(job__deck=scope.deck, product=scope.product, job__finished_on=date(2025, 6, 12))
    PhotoFactory(deck=scope.deck, caption="Greyed along the rail")
    OfferScopeFactory(offer=offer, deck__label="Landing", position=2)
    for number in range(40):
        OfferLineFactory(offer=offer, scope=scope, words=f"Stair {number}")
    OfferTaxFactory(offer=offer)
    refresh_forecasts(today=date(2026, 11, 20), now=timezone.now())
    return offer_pdf(offer, url=offer_url("a-link-of-our-own"))


def a_care_record() -> bytes:
    job: Job = CoatFactory(job__finished_on=date(2026, 6, 12)).job
    PhotoFactory(deck=job.deck, job=job)
    refresh_forecasts(today=date(2026, 6, 13), now=timezone.now())
    return care_record_pdf(build_care_record(job))


def a_due_list(browser: Browser) -> bytes:
    """Longer than a page, so that its table goes on."""
    home = PropertyFactory()
    for number in range(40):
        CoatFactory(
            job__deck__site=home,
            job__deck__label=f"Deck {number}",
            job__finished_on=date(2025, 6, 12),
        )
    refresh_forecasts(today=date(2026, 6, 13), now=timezone.now())
    month = Forecast.objects.earliest("due_on").due_on
    return browser.get(f"/due/{month:%Y-%m}/?format=pdf").content


def a_trace(browser: Browser) -> bytes:
    """Longer than a page too."""
    batch = BatchFactory()
    for _ in range(40):
        CoatFactory(product=batch.product, batch=batch)
    return browser.get("/jobs/trace/", {"batch": batch.pk, "format": "pdf"}).content


def a_structure_report(browser: Browser) -> bytes:
    check = StructureCheck.objects.create(deck=DeckFactory(), checked_on=date(2026, 6, 12))
    defect = Defect.objects.create(
        structure_check=check, kind="rot", severity="1", place="third joist"
    )
    PhotoFactory(deck=check.deck, defect=defect)
    return structure_report_pdf(check)


def a_day_sheet(browser: Browser) -> bytes:
    """Longer than a page."""
    team = CrewFactory(hours_a_day=99)
    for _ in range(4):
        deck = DeckFactory()
        CoatFactory(job__deck=deck)
        work = NewBooking(
            site=deck.site, decks=[deck], hours=Decimal(6), first_day=date(2027, 5, 20), crew=team
        )
        book_work(work=work, by=None, now=timezone.now(), notify_client=False)
    return browser.get(f"/diary/day-sheet/{team.pk}/", {"day": "2027-05-20"}).content


ON_ONE_PAGE = {"care record", "structure report"}
WITHOUT_TABLES = {"structure report", "day sheet"}
PRINTS: dict[str, Callable[[Browser], bytes]] = {
    "offer": lambda browser: an_offer(),
    "care record": lambda browser: a_care_record(),
    "due list": a_due_list,
    "trace": a_trace,
    "structure report": a_structure_report,
    "day sheet": a_day_sheet,
}


@pytest.mark.parametrize("name", PRINTS)
def test_no_fault_that_a_machine_can_see(as_owner: Browser, name: str) -> None:
    pdf = PRINTS[name](as_owner)

    papers = Papers(pdf)
    assert len(papers.pages) > 1 or name in ON_ONE_PAGE
    tables = set() if name in WITHOUT_TABLES else {"/Table", "/TH", "/TD"}
    assert {"/H1", "/P"} | tables <= set(papers.kinds())
    assert faults(pdf) == []


def without(path: str) -> Callable[[Any], None]:
    """Takes an entry of the catalog away."""
    return lambda writer: writer.root_object.pop(path)


TAMPERED: list[tuple[Callable[[PdfWriter], Any], str]] = [
    (without("/Lang"), "11-006"),
    (without("/ViewerPreferences"), "07-001/002"),
    (without("/MarkInfo"), "7.1 not marked"),
    (lambda writer: element(writer, "/Figure").pop("/Alt"), "13-004"),
    (lambda writer: element(writer, "/TH")["/A"].pop("/Scope"), "15-003"),
    (lambda writer: element(writer, "/H2").update({NameObject("/S"): NameObject("/H4")}), "14-003"),
    (
        lambda writer: element(writer, "/Link").update({NameObject("/S"): NameObject("/Span")}),
        "28-011",
    ),
    (lambda writer: element(writer, "/H1")["/K"].clear(), "01-005"),
    (lambda writer: [page.pop("/Tabs") for page in writer.pages], "28-008/009"),
]


def test_the_check_sees_what_is_wrong() -> None:
    offer = an_offer()
    for tamper, found in TAMPERED:
        writer = PdfWriter(clone_from=BytesIO(offer))
        target = BytesIO()
        tamper(writer)
        writer.write(target)

        assert [fault for fault in faults(target.getvalue()) if fault.startswith(found)], found


def element(writer: PdfWriter, kind: str) -> Any:
    """The first of a kind."""
    root: Any = writer.root_object["/StructTreeRoot"]
    waiting = [root]
    while waiting:
        node = waiting.pop(0).get_object()
        if not isinstance(node, dict):
            continue
        if node.get("/S") == kind:
            return node
        waiting += node.get("/K", []) if isinstance(node.get("/K", []), list) else [node["/K"]]
    raise LookupError(kind)
