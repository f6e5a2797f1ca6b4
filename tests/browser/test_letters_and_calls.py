"""Letters and calls in a real browser:
printed, posted and noted by name, accessible with something on the pages."""

import io
from collections.abc import Callable
from pathlib import Path

from django.utils import timezone
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from clients.messaging.models import CallNote, LetterBatch, Message
from clients.models import Business
from tests.browser.conftest import DESKTOP, PHONE, violations
from tests.clients.test_calls import queued_call
from tests.clients.test_letters import queued_letter
from tests.gateway import gateway_row

Open = Callable[..., Page]


def test_a_batch_is_made_printed_and_posted(open_as: Open, business: Business) -> None:
    gone = [queued_letter(number) for number in (1, 2, 3)][2]
    page = open_as("office", "/outbox/", size=DESKTOP, dark=True)
    page.get_by_role("link", name="Letters to print (3)").click()
    assert violations(page) == []
    page.get_by_role("button", name="Make a letter run").click()
    with page.expect_download() as download:
        page.get_by_role("button", name="Print (PDF)").click()
    pdf = PdfReader(io.BytesIO(Path(download.value.path()).read_bytes()))
    assert len(pdf.pages) == 8  # the slip and three letters, each on a sheet of its own
    Message.objects.filter(pk=gone.pk).update(state="cancelled", reply="They booked.")
    page.reload()
    expect(page.get_by_role("heading", name="Take this one out of the pile")).to_be_visible()
    assert violations(page) == []

    page.get_by_role("button", name="All 2 are mailed").click()

    expect(page.get_by_text("Noted: 2 letters mailed.")).to_be_visible()
    assert LetterBatch.objects.get().posted_at
    assert violations(page) == []


def test_how_a_call_ended_is_noted_on_the_phone_without_scripts(
    open_as: Open, business: Business
) -> None:
    for number in (1, 2):
        queued_call(number)
    page = open_as("office", "/outbox/calls/", size=PHONE, scripts=False)
    first = page.get_by_role("article").first
    first.get_by_label("What was said").fill("Wants a Tuesday")
    first.get_by_role("button", name="No answer").click()

    page.get_by_text("1 to make now, 1 later").wait_for()
    note = CallNote.objects.get()
    assert (note.result, note.note) == ("no_answer", "Wants a Tuesday")
    Message.objects.update(not_before=timezone.now())
    page = open_as("office", "/outbox/calls/", size=PHONE)
    assert violations(page) == []
    # WCAG 2.2, 2.5.8 Target size (minimum): 24 CSS pixels
    # (https://www.w3.org/TR/WCAG22/#target-size-minimum)
    heights = [
        box["height"] for each in page.get_by_role("button").all() if (box := each.bounding_box())
    ]
    assert min(heights) >= 24
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]


def test_the_gateway_is_set_up_by_hand(open_as: Open, business: Business) -> None:
    gateway_row("http://127.0.0.1:1/messages")
    page = open_as("owner", "/settings/gateway/", size=PHONE)
    page.get_by_label("Name", exact=True).fill("Box in the yard")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Saved. Text messages go out by it.")).to_be_visible()
    page.get_by_role("button", name="Make new addresses").click()
    assert "/hooks/text/" in page.get_by_label("Answers of clients").input_value()
    assert violations(page) == []
