"""Lists as workbooks, read back by another library (python-calamine)."""

from datetime import date
from decimal import Decimal
from io import BytesIO
from typing import Any

import pytest
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone
from openpyxl import load_workbook
from python_calamine import CalamineWorkbook

from clients.tables import workbook_bytes
from jobs.models import Batch
from reminders.actions import refresh_forecasts
from tests.factories import BatchFactory, CoatFactory, PhoneFactory

COLUMNS = ["Client", "Last coat", "Price", "Decks", "Note"]


def sheet_rows(content: bytes) -> list[list[Any]]:
    book = CalamineWorkbook.from_filelike(BytesIO(content))
    return book.get_sheet_by_index(0).to_python()


def test_numbers_and_days_stay_so_and_no_text_is_a_formula() -> None:
    content = workbook_bytes(
        [
            {
                "Client": "=1+1",
                "Last coat": date(2026, 6, 12),
                "Price": Decimal("1250.50"),
                "Decks": ["Sun deck", "Landing"],
                "Note": "bell \x07 rings\nšťüß 日本",
            },
            {"Client": "+1 902", "Last coat": None, "Price": 0, "Decks": [], "Note": "@here"},
        ],
        COLUMNS,
    )

    assert sheet_rows(content) == [
        COLUMNS,
        ["=1+1", date(2026, 6, 12), 1250.5, "Sun deck; Landing", "bell  rings\nšťüß 日本"],
        ["+1 902", "", 0.0, "", "@here"],
    ]
    sheet = load_workbook(BytesIO(content)).active
    assert [cell.data_type for cell in sheet["A"]] == ["s", "s", "s"]
    assert sheet.freeze_panes == "A2"


@pytest.mark.django_db
def test_what_is_on_the_screen_comes_out_as_a_workbook(as_owner: Browser, business: object) -> None:
    batch = BatchFactory(code="TW-26/204")
    coat = CoatFactory(batch=batch, product=batch.product, job__finished_on=date(2023, 6, 12))
    client = coat.job.deck.site.client
    PhoneFactory(client=client)
    refresh_forecasts(deck_ids=None, today=date(2026, 6, 13), now=timezone.now())
    traced = f"{reverse('jobs:trace')}?batch={Batch.objects.get().pk}"
    pages = [f"{reverse('today')}?tab=all", traced]

    for page in pages:
        there = "&" if "?" in page else "?"
        answer = as_owner.get(f"{page}{there}format=xlsx")
        assert answer["Content-Disposition"].endswith('.xlsx"')
        head, *rows = sheet_rows(answer.content)
        assert len(head) > 5
        assert any(client.name in row for row in rows), page
