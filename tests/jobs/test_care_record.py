"""The care record: what it says of a job, as PDF and by e-mail, once."""

from collections import Counter
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from io import BytesIO

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from pypdf import PdfReader

from clients.messaging import suppression
from clients.messaging.models import Attachment, Message
from clients.models import Business, User
from jobs.models import Job
from jobs.pdf import care_record_pdf
from jobs.work.care_record import build_care_record
from reminders.actions import refresh_forecasts
from reminders.models import Forecast
from tests.factories import (
    BatchFactory,
    CoatFactory,
    ConsentFactory,
    EmailFactory,
    JobFactory,
    PhotoFactory,
)
from tests.type_sizes import type_sizes

pytestmark = pytest.mark.slow


@pytest.fixture
def job(business: Business) -> Job:
    """A recoat with product, colour and batch, whose data sheet names other times than the common
    ones."""
    batch = BatchFactory(
        code="TW-26/204", product__walk_hours=Decimal("36"), product__furniture_days=Decimal("7")
    )
    coat = CoatFactory(
        product=batch.product,
        batch=batch,
        job__kind="recoat",
        job__finished_on=date(2026, 6, 12),
        coats=2,
        job__deck__label="Sun deck",
        job__deck__species="treated_pine",
    )
    refresh_forecasts(today=date(2026, 6, 13), now=timezone.now())
    return coat.job


def read(pdf: bytes) -> PdfReader:
    return PdfReader(BytesIO(pdf), strict=True)


def words(reader: PdfReader) -> str:
    return " ".join(" ".join(page.extract_text() for page in reader.pages).split())


def test_it_says_what_went_on_when_to_walk_how_to_care_and_when_it_is_next_due(
    job: Job, as_owner: Browser
) -> None:
    answer = as_owner.get(reverse("jobs:care_record", args=[job.pk]))
    reader = read(answer.content)
    text = words(reader)
    product = job.coats_applied.get().product

    assert Forecast.objects.get().due_on.strftime("%Y-%m") == "2027-10"
    assert answer["Content-Type"] == "application/pdf"
    assert len(reader.pages) == 1
    for part in (
        "Care record",
        "Clean and recoat, Sun deck",
        job.deck.site.client.name,
        product.name,
        "Driftwood",
        "TW-26/204",
        "Jun 12, 2026",
        "These times are from the data sheets",
        "Keep pressure washers away",
        "No bleach",
        "Best recoated in autumn 2027",
        "heat up by themselves and burn",
        "The product's data sheet, local rules and licensed practice go before",
    ):
        assert part in text, part
    # Logged later than the day: counted from the end of 12 June, 36 hours on is noon of the 14th, 7
    # days on the 20th.
    assert "Walk on it from Jun 14, 2026" in text
    assert "Furniture back from Jun 20, 2026" in text


def test_its_text_is_large_enough_for_old_eyes_and_fits_a_page(job: Job) -> None:
    """11 points (what offers have), no word under nine."""
    letters: Counter[float] = Counter()

    (page,) = read(care_record_pdf(build_care_record(job))).pages
    for text, size in type_sizes(page):
        letters[size] += len(text)

    assert letters.most_common(1)[0][0] == 11
    assert min(letters) >= 9


def test_it_is_tagged_with_its_fonts_on_the_paper_of_the_country(job: Job) -> None:
    PhotoFactory(deck=job.deck, job=job, moment="finished", caption="Fresh coat")
    PhotoFactory(deck=job.deck, job=job, moment="found", caption="Grey before")
    Business.objects.update(country="AU")
    reader = read(care_record_pdf(build_care_record(job)))

    assert reader.root_object["/MarkInfo"]["/Marked"]
    assert reader.root_object["/Lang"] == "en"
    # ISO 216: 210 mm × 297 mm.
    assert [float(side) * 25.4 / 72 for side in reader.pages[0].mediabox[2:]] == pytest.approx(
        [210, 297], abs=0.01
    )
    for page in reader.pages:
        for font in page["/Resources"]["/Font"].values():
            assert (
                "/FontFile2"
                in font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"]
            )
    assert "Fresh coat" in words(reader)
    assert "Grey before" not in words(reader)


def test_the_forecast_of_a_newer_coat_is_not_printed_on_the_record_of_an_older_one(
    job: Job,
) -> None:
    older = CoatFactory(job__deck=job.deck, job__finished_on=date(2024, 6, 1)).job

    assert build_care_record(job).forecast
    assert build_care_record(older).forecast is None
    assert "next due" not in words(read(care_record_pdf(build_care_record(older))))


def test_where_the_data_sheet_is_silent_common_practice_is_named_as_such(
    business: Business,
) -> None:
    text = words(read(care_record_pdf(build_care_record(CoatFactory().job))))

    assert "common practice (24 hours, 5 days)" in text


def test_a_job_without_a_product_has_a_record_too(business: Business) -> None:
    text = words(read(care_record_pdf(build_care_record(JobFactory(kind="repair")))))

    assert "No product was put on." in text
    assert "Walk on it" not in text
    assert "Wet boards are slippery" in text


def test_it_goes_by_email_once_with_the_paper_attached(job: Job, as_owner: Browser) -> None:
    EmailFactory(client=job.deck.site.client, value="marlow@example.org")
    form_url = reverse("jobs:care_send", args=[job.pk])

    first, again = (as_owner.post(form_url, follow=True).content.decode() for _ in range(2))

    assert "The care record is queued to marlow@example.org." in first
    assert "The care record was queued before, to marlow@example.org." in again
    message = Message.objects.get()
    assert (message.kind, message.state) == ("service", "queued")
    assert "Walk on it from Jun 14, 2026" in message.text
    assert "TW-26/204" in words(read(bytes(Attachment.objects.get(message=message).content)))


@pytest.mark.parametrize("may_invite", [True, False])
def test_when_it_is_next_due_goes_only_to_those_whom_we_may_invite(
    job: Job, as_owner: Browser, may_invite: bool
) -> None:
    """S.C. 2010 c. 23, s. 1(2): what encourages participation in a commercial activity is a
    commercial message, whatever else it says."""
    client = job.deck.site.client
    EmailFactory(client=client, value="marlow@example.org")
    if may_invite:
        ConsentFactory(client=client, channel="email", is_given=True)

    as_owner.post(reverse("jobs:care_send", args=[job.pk]))

    message = Message.objects.get()
    paper = words(read(bytes(Attachment.objects.get(message=message).content)))
    assert ("Best recoated in autumn 2027" in message.text) == may_invite
    assert ("Best recoated" in paper) == may_invite
    assert ("a recoat in time saves a strip" in paper) == may_invite
    assert ("the finish is worn" in paper) != may_invite
    assert "Walk on it from Jun 14, 2026" in message.text


@pytest.mark.parametrize("why", ["address", "suppressed", "archived"])
def test_it_is_not_sent_where_nobody_may_be_written_to_and_says_why(
    job: Job, as_owner: Browser, why: str
) -> None:
    client = job.deck.site.client
    if why != "address":
        EmailFactory(client=client, value="marlow@example.org")
    if why == "suppressed":
        suppression.suppress_address(
            business=Business.objects.get(),
            channel="email",
            address="marlow@example.org",
            reason="Unsubscribed",
        )
    if why == "archived":
        client.archived_at = timezone.now()
        client.save()

    page = as_owner.post(reverse("jobs:care_send", args=[job.pk]), follow=True).content.decode()

    said = {
        "address": "no e-mail address in use",
        "suppressed": "asked not to be written to",
        "archived": "is archived",
    }
    assert said[why] in page
    assert not Message.objects.exists()


def test_the_crew_prints_it_and_does_not_send_it(
    job: Job, crew: User, as_user: Callable[[User], Browser]
) -> None:
    browser = as_user(crew)

    assert browser.get(reverse("jobs:care_record", args=[job.pk])).status_code == 200
    assert browser.post(reverse("jobs:care_send", args=[job.pk])).status_code == 403
    assert browser.get(reverse("jobs:care_record", args=[10**6])).status_code == 404
    page = browser.get(f"/jobs/{job.pk}/").content.decode()
    assert "Care record, PDF" in page
    assert "E-mail it to the client" not in page
