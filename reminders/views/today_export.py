"""The list of the page Today as a file: what is on the screen, with phones and e-mail."""

import io
from collections.abc import Sequence
from datetime import date
from typing import Any

from django.http import HttpResponse

from clients import display
from clients.models import Business
from clients.tabular import write_rows
from reminders.pdf import render_pdf
from reminders.today import TodayDeck, price_sum
from reminders.views.due import attachment_response

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


def list_as_csv(lines: Sequence[TodayDeck], *, today: date) -> HttpResponse:
    out = io.StringIO()
    write_rows(map(exported_row, lines), format="csv", out=out, columns=EXPORT_COLUMNS)
    body = out.getvalue().encode("utf-8-sig")
    return attachment_response(body, "text/csv; charset=utf-8", f"decks-{today}.csv")


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
