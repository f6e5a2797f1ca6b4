"""Everything that the book keeps about one client, to hand to them: as JSON and on paper."""

import json
from typing import Any

from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from clients import display
from clients.messaging.models import CallNote
from clients.models import Client, Property, traits_of
from clients.pages import business_of, business_today, owner_required
from clients.tables import attachment_response
from jobs.models import Booking, Job, Photo, Visit
from jobs.pdf import render_paper
from restorer.export import client_columns, client_tables


@require_safe
@owner_required
def all_as_json(request: HttpRequest, pk: int) -> HttpResponse:
    """Each row as the program holds it, with what the columns mean."""
    client = get_object_or_404(Client, pk=pk)
    tables = client_tables(client)
    content = {
        "about": "Everything kept about one client, as of the day.",
        "business": business_of(request).name,
        "day": f"{business_today(request):%Y-%m-%d}",
        "tables": tables,
        "columns": client_columns(tables),
    }
    text = json.dumps(content, ensure_ascii=False, indent=1)
    return file_answer(text.encode(), "application/json", f"client-{pk}.json")


@require_safe
@owner_required
def all_as_pdf(request: HttpRequest, pk: int) -> HttpResponse:
    """The same to read, in the client's language."""
    client = get_object_or_404(Client, pk=pk)
    business = business_of(request)
    with display.override_business(business), display.in_client_language(client.language):
        context = {
            "business": business,
            "today": business_today(request),
            "client": client,
            **client_story(client),
        }
        content = render_paper("restorer/client_paper.html", context, business=business, photos={})
    return file_answer(content, "application/pdf", f"client-{pk}.pdf")


def client_story(client: Client) -> dict[str, Any]:
    """What stands on the paper, by kind, the oldest first."""
    jobs = Prefetch("decks__jobs", Job.objects.with_coats().order_by("finished_on", "pk"))
    photos = Prefetch("decks__photos", Photo.objects.order_by("taken_on", "pk"))
    visits = Prefetch("decks__visits", Visit.objects.order_by("visited_on", "pk"))
    homes = Property.objects.filter(client=client).prefetch_related(jobs, visits, photos)
    return {
        "homes": homes.order_by("pk"),
        "offers": client.offers.exclude(sent_at=None).order_by("sent_at"),
        "bookings": Booking.objects.filter(client=client).order_by("first_on"),
        "written": [
            (traits_of(each.channel).consent_label, each)
            for each in client.messages.order_by("queued_at", "pk")
        ],
        "calls": CallNote.objects.filter(message__client=client).order_by("at"),
        "received": client.inbound.order_by("received_at", "pk"),
        "allowed": [
            (traits_of(each.channel).consent_label, each)
            for each in client.consents.order_by("recorded_at", "pk")
        ],
    }


def file_answer(content: bytes, kind: str, name: str) -> HttpResponse:
    answer = attachment_response(content, kind, name)
    answer["Cache-Control"] = "no-store"
    return answer
