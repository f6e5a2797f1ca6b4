"""The logo of the business: how it comes in, and where it stands."""

from email import message_from_bytes
from email.policy import default
from io import BytesIO
from typing import Any

import pytest
from django.core import mail
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client as Browser
from django.utils import timezone
from PIL import Image

from clients.messaging import outbox
from clients.messaging.channels.email import SenderIdentity, compose_email
from clients.messaging.models import MessageText
from clients.messaging.texts import compose_text, example_fields
from clients.models import Business
from jobs.pdf import care_record_pdf, offer_pdf
from jobs.work.care_record import build_care_record
from tests.clients.test_letters import new_batch, printed, queued_letter
from tests.factories import CoatFactory
from tests.jobs.sent_offers import page_of, sent_offer
from tests.outbox import queued
from tests.pdf_ua import Papers, faults

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("business")]
URL = "/jobs/logo/"


def picture(name: str = "logo.png", size: tuple[int, int] = (1200, 300), **kind: Any) -> Any:
    """A red bar on nothing."""
    drawn = Image.new("RGBA", size, (0, 0, 0, 0))
    drawn.paste((200, 30, 30, 255), (0, 0, size[0] // 2, size[1]))
    out = BytesIO()
    drawn.save(out, "PNG", **kind)
    return SimpleUploadedFile(name, out.getvalue())


@pytest.fixture
def logo(as_owner: Browser) -> Business:
    assert as_owner.post(URL, {"logo": picture()}).status_code == 302
    return Business.objects.get()


def test_it_is_made_small_and_stands_on_white(logo: Business) -> None:
    with Image.open(BytesIO(logo.logo_content)) as kept:
        assert (kept.format, kept.size) == ("PNG", (480, 120))
        assert (logo.logo_width, logo.logo_height) == kept.size
        assert kept.convert("RGB").getpixel((470, 60)) == (255, 255, 255)


def test_a_picture_of_many_colours_travels_lightly(as_owner: Browser) -> None:
    noise = Image.effect_noise((1000, 375), 90).convert("RGB")
    out = BytesIO()
    noise.save(out, "PNG")
    as_owner.post(URL, {"logo": SimpleUploadedFile("noise.png", out.getvalue())})
    assert 0 < len(Business.objects.get().logo_content) < 90_000  # 480 × 180 at a byte a pixel


@pytest.mark.parametrize(
    "content", [b'<svg xmlns="http://www.w3.org/2000/svg"/>', b"GIF89a", b"\x89PNG\r\n\x1a\n half"]
)
def test_what_is_no_picture_that_we_read_is_refused_and_named(
    as_owner: Browser, content: bytes
) -> None:
    answer = as_owner.post(URL, {"logo": SimpleUploadedFile("mark.svg", content)})
    assert "“mark.svg” is not a picture we can read" in answer.content.decode()
    assert not Business.objects.get().logo


def test_another_takes_its_place_and_it_can_be_removed(
    logo: Business, as_owner: Browser, django_capture_on_commit_callbacks: Any
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        as_owner.post(URL, {"logo": picture(size=(90, 90))})
    second = Business.objects.get()
    assert not default_storage.exists(logo.logo.name)
    with django_capture_on_commit_callbacks(execute=True):
        as_owner.post(URL, {"remove": "1"})
    assert not default_storage.exists(second.logo.name)
    assert not Business.objects.get().logo


def test_clients_see_it_under_the_name_of_the_business(logo: Business, client: Browser) -> None:
    _offer, url = sent_offer()
    address = f"/logo/{logo.logo_name}"
    assert f'src="{address}" width="480" height="120" alt="{logo.name}"' in page_of(client, url)
    seen = client.get(address)
    assert (seen.content, seen["Content-Type"]) == (logo.logo_content, "image/png")
    assert client.get("/logo/another.png").status_code == 404


def test_papers_carry_it_with_its_words(logo: Business) -> None:
    offer, _ = sent_offer()
    job = CoatFactory().job
    for paper in (offer_pdf(offer), care_record_pdf(build_care_record(job))):
        assert "/Figure" in Papers(paper).kinds()
        assert faults(paper) == []


def test_an_email_carries_it_and_fetches_nothing(logo: Business) -> None:
    """RFC 2387 (related), 2392 (cid), read by Python's own parser."""
    sender = SenderIdentity.for_business(logo)
    message = queued(1, html=written().html)
    whole = message_from_bytes(compose_email(sender, message, now=timezone.now()), policy=default)

    related = whole.get_payload()[1]
    assert related.get_content_type() == "multipart/related"
    page, shown = related.iter_parts()
    assert 'src="cid:logo@business"' in page.get_content()
    assert f'alt="{logo.name}"' in page.get_content()
    assert (shown["Content-ID"], shown.get_content()) == ("<logo@business>", logo.logo_content)
    assert shown.get_content_disposition() == "inline"


@pytest.mark.django_db(transaction=True)
def test_a_mail_service_gets_it_too(logo: Business, settings: Any) -> None:
    settings.OUTBOX_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    queued(1, html=written().html)
    assert outbox.deliver().accepted == 1
    shown = [part for part in mail.outbox[0].message().walk() if part["Content-ID"]]
    assert [part.get_payload(decode=True) for part in shown] == [logo.logo_content]


def test_without_one_an_email_has_no_picture(business: Business) -> None:
    html = written().html
    assert "<img" not in html
    sender = SenderIdentity.for_business(business)
    raw = compose_email(sender, queued(1, html=html), now=timezone.now())
    assert b"multipart/related" not in raw


def test_letters_carry_it(logo: Business, as_owner: Browser) -> None:
    queued_letter(1)
    reader = printed(as_owner, new_batch(as_owner))
    assert [page for page in reader.pages if len(page.images) == 1]
    assert logo.name in reader.pages[2].extract_text()


def written() -> Any:
    purpose = MessageText.Purpose.FIRST
    return compose_text(
        purpose=purpose,
        channel="email",
        language="en",
        basis="express",
        fields=example_fields(
            None,
            purpose=purpose,
            channel="email",
            language="en",
            business=Business.objects.get(),
        ),
    )
