"""The list of the page Today as a file: what is on the screen, with phones and e-mail."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.http import HttpResponse

from clients import display
from clients.models import Business
from clients.tables import attachment_response, table_response
from reminders.pdf import render_pdf
from reminders.today import TodayDeck, price_sum

MAX_LINES_ON_PAPER = 2_000  # a minute of layout
EXPORT_COLUMNS = [
    "Client",
    "Phone",
    "E-mail",
    "Street",
    "Town",
    "Region",
    "Deck",
    "Last coat",
    "Finish",
    "State",
    "Due",
    "Next job",
    "Size, m²",
    "Price to expect",
    "Last contact",
    "Agreed",
    "Reached by",
    "Why",
]


def list_as_table(lines: Sequence[TodayDeck], *, format: str, today: date) -> HttpResponse:
    """CSV or a workbook."""
    return table_response(
        map(exported_row, lines), format=format, name=f"decks-{today}", columns=EXPORT_COLUMNS
    )


def exported_row(line: TodayDeck) -> dict[str, Any]:
    reached = line.reached_by
    values = [
        line.client,
        display.format_phone(line.phone) if line.phone else "",
        line.email,
        line.street,
        line.town,
        line.region,
        line.label,
        line.coated_on,
        line.finish,
        line.state,
        line.due_on,
        line.advice.value,
        line.area_m2,
        line.price,
        " ".join(filter(None, [line.contact, line.contact_by])),
        line.agreed,
        reached.label if reached else "",
        ", ".join(line.reasons),
    ]
    return dict(zip(EXPORT_COLUMNS, values, strict=True))


def list_as_pdf(
    title: str, lines: Sequence[TodayDeck], *, business: Business, today: date
) -> HttpResponse:
    context = {
        "title": title,
        "lines": lines[:MAX_LINES_ON_PAPER],
        "more": max(0, len(lines) - MAX_LINES_ON_PAPER),
        "total": price_sum(lines),
        "business": business,
        "today": today,
    }
    pdf = render_pdf("reminders/today_print.html", context, country=business.country)
    return attachment_response(pdf, "application/pdf", f"decks-{today}.pdf")
