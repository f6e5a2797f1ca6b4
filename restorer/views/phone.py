"""What a phone asks for to work without a signal: how it is installed, its worker, a token, and
which pages are of the day."""

import hashlib
import json
import re
from collections.abc import Iterator
from datetime import date

from django.contrib.auth.decorators import login_not_required
from django.contrib.staticfiles.storage import staticfiles_storage
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from clients.actions import upload_parts
from clients.models import MAX_PART_BYTES, SHA256_PATTERN, User
from clients.pages import business_today, current_user
from jobs.forecast_summary import nearby_looks
from jobs.models import Booking, GradeExample
from reminders.today import bookings_ahead

FRAME_FILES = [
    "restorer/app.css",
    "restorer/app.js",
    "restorer/signing.js",
    "restorer/favicon.svg",
    "restorer/vendor/htmx-2.0.11.min.js",
    "restorer/vendor/idb-8.0.4.js",
    *(
        f"restorer/kept/{name}.js"
        for name in (
            *("cans", "day", "elements", "forms", "handed", "list", "pictures", "scan"),
            *("sending", "store", "ticks"),
        )
    ),
]
ICONS = [("192", "any"), ("512", "any"), ("maskable-512", "maskable")]


@require_GET
@login_not_required
def show_worker(request: HttpRequest) -> HttpResponse:
    """The service worker, at the top so that all pages are its own. Its text names each file that
    it keeps, so a release with other files is another worker."""
    files = [staticfiles_storage.url(name) for name in FRAME_FILES]
    worker = staticfiles_storage.url("restorer/kept/worker.js")
    version = hashlib.sha256(" ".join([worker, *files]).encode()).hexdigest()[:12]
    started = json.dumps({"version": version, "files": files, "open": pages_open_to_clients()})
    text = f'import {{ start }} from "{worker}";\nstart({started});\n'
    return HttpResponse(text, content_type="text/javascript; charset=utf-8")


def pages_open_to_clients() -> list[str]:
    """What may be opened on a phone that a client holds, beside the page that they were handed."""
    return [reverse("privacy"), reverse("sign_in")]


@require_GET
@login_not_required
def show_manifest(request: HttpRequest) -> HttpResponse:
    """Web Application Manifest (W3C): how it is put on the first screen of a phone."""
    business = getattr(request, "business", None)
    icons = [
        {
            "src": staticfiles_storage.url(f"restorer/icon-{name}.png"),
            "sizes": f"{name.rpartition('-')[2]}x{name.rpartition('-')[2]}",
            "type": "image/png",
            "purpose": purpose,
        }
        for name, purpose in ICONS
    ]
    manifest = {
        "id": "/",
        "name": business.name if business else "Deck care",
        "short_name": "Decks",
        "start_url": reverse("today"),
        "scope": "/",
        "display": "standalone",
        "background_color": "#edf0ee",
        "theme_color": "#22363b",
        "icons": icons,
    }
    return HttpResponse(json.dumps(manifest), content_type="application/manifest+json")


@require_GET
@login_not_required
def tell_token(request: HttpRequest) -> HttpResponse:
    """A fresh token for a form that waited, and who is signed in (empty if nobody)."""
    person = str(request.user.pk) if request.user.is_authenticated else ""
    return JsonResponse({"person": person, "token": get_token(request)})


@require_GET
def list_day_pages(request: HttpRequest) -> HttpResponse:
    """The addresses that a phone keeps to be read without a signal: pages, which change, and
    pictures, which do not."""
    today = business_today(request)
    pages = [reverse("phone_offline"), *empty_forms()]
    if not current_user(request).may_send:
        pages.append(reverse("today"))  # the crew's: the office's is the whole book
    for booking in bookings_of_phone(today):
        pages += booking_pages(booking, today)
    return JsonResponse({"pages": list(dict.fromkeys(pages)), "pictures": example_pictures()})


def example_pictures() -> list[str]:
    """The photographs beside the grades of the forms, in the sizes that the forms show."""
    photo_ids = GradeExample.objects.order_by("photo_id").values_list("photo_id", flat=True)
    return [
        f"{reverse('jobs:photo', args=[pk])}?{size}"
        for pk in photo_ids.distinct()
        for size in ("tiny", "small")
    ]


def empty_forms() -> list[str]:
    log = reverse("jobs:log")
    return [log, f"{log}?new=1", reverse("clients:new")]


def bookings_of_phone(today: date) -> list[Booking]:
    """Of today and tomorrow, each once."""
    return list({day.booking_id: day.booking for day in bookings_ahead(today)}.values())


def booking_pages(booking: Booking, today: date) -> Iterator[str]:
    """The booking; each of its decks with its history, work and cautions; the forms; and decks near
    by that are worth a look on the way."""
    yield reverse("diary:booking", args=[booking.pk])
    for deck in booking.decks.all():
        yield reverse("decks:detail", args=[deck.pk])
        yield reverse("jobs:scope", args=[deck.pk])
        yield f"{reverse('jobs:visit')}?deck={deck.pk}"
        yield f"{reverse('jobs:structure')}?deck={deck.pk}"
        yield f"{reverse('jobs:log')}?deck={deck.pk}"
        if booking.first_on <= today:
            yield f"{reverse('jobs:log')}?deck={deck.pk}&booking={booking.pk}"
    for job in booking.jobs.filter(sign_off=None):
        yield reverse("jobs:sign_off", args=[job.pk])
    for look in nearby_looks(booking.site, today=today):
        yield reverse("decks:detail", args=[look.deck_id])
        yield f"{reverse('jobs:visit')}?deck={look.deck_id}"


@require_GET
def show_without_signal(request: HttpRequest) -> HttpResponse:
    """In the place of a page that is not on the phone."""
    context = {"bookings": bookings_of_phone(business_today(request))}
    return render(request, "restorer/without_signal.html", context)


@require_http_methods(["HEAD", "PATCH", "DELETE"])
def take_upload_part(request: HttpRequest, sha256: str) -> HttpResponse:
    """HEAD: how much of a file is here. PATCH: its next part. DELETE: it is not needed any more.

    The names and meanings of draft-ietf-httpbis-resumable-upload-10; but the address is known
    beforehand (SHA-256 of the whole), and the form that the file belongs to completes it.
    """
    if not re.fullmatch(SHA256_PATTERN, sha256):
        raise Http404("A file is known by its SHA-256.")
    by = current_user(request)
    if request.method == "PATCH":
        return receive_next_part(request, by, sha256)
    if request.method == "DELETE":
        upload_parts.drop_upload(by=by, sha256=sha256)
    return offset_answer(204, upload_parts.count_received_bytes(by=by, sha256=sha256))


def receive_next_part(request: HttpRequest, by: User, sha256: str) -> HttpResponse:
    offset = request.headers.get("Upload-Offset", "")
    if not re.fullmatch("[0-9]{1,9}", offset) or not request.body:
        return HttpResponse(status=400)
    if request.content_type != "application/partial-upload":
        return HttpResponse(status=415)
    if len(request.body) > MAX_PART_BYTES:
        return HttpResponse(status=413)
    try:
        there = upload_parts.receive_part(
            by=by, sha256=sha256, offset=int(offset), body=request.body, now=timezone.now()
        )
    except upload_parts.UploadPartError as error:
        return offset_answer(409, error.offset)
    return offset_answer(204, there)


def offset_answer(status: int, offset: int) -> HttpResponse:
    headers = {"Upload-Offset": str(offset), "Upload-Complete": "?0", "Cache-Control": "no-store"}
    return HttpResponse(status=status, headers=headers)
