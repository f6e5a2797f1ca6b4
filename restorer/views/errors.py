"""The sample page and the pages for when something went wrong."""

import sys

import psycopg.errors
from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.template.loader import get_template
from django.utils import timezone
from django.views.decorators.http import require_GET

from clients.forms import form_recovery
from clients.pages import is_kept_form
from clients.whole_uploads import UnfinishedFormError
from restorer.api import is_of_api, problem_response
from restorer.demo.style_samples import style_samples
from restorer.storage import NO_ROOM


@require_GET
def show_style_samples(request: HttpRequest) -> HttpResponse:
    """The sample page of every part of the style (only while developing)."""
    business = getattr(request, "business", None)
    today = business.today(timezone.now()) if business else timezone.now().date()
    return render(request, "restorer/parts.html", style_samples(today))


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The form came without a fresh token.
    If it came from a page of ours, it is one press away from being sent."""
    if is_kept_form(request):
        return JsonResponse({"token": get_token(request)}, status=403)  # the phone sends it again
    pairs = form_recovery.submitted_fields(request)
    context = {
        "action": request.get_full_path(),
        "pairs": form_recovery.unpack_fields(form_recovery.pack_fields(pairs)),
        "readable": list(form_recovery.readable_fields(pairs)),
        "has_files": form_recovery.has_files(request),
    }
    return render(request, "send_again.html", context, status=403)


def server_error(request: HttpRequest) -> HttpResponse:
    """A fault of ours, or of the machine: what was typed is one press away from being sent again.

    The frame of the page asks the database, which may be what is broken; so it is left out.
    """
    is_full = is_disk_full(sys.exc_info()[1])
    if is_of_api(request):
        return problem_response(507 if is_full else 500, "A fault of ours. Send it again later.")
    pairs = form_recovery.submitted_fields(request)
    context = {
        "is_full": is_full,
        "action": request.get_full_path(),
        "csrf_token": get_token(request),
        "pairs": form_recovery.unpack_fields(form_recovery.pack_fields(pairs)),
        "readable": list(form_recovery.readable_fields(pairs)),
        "has_files": form_recovery.has_files(request),
    }
    page = get_template("500.html").render(context)
    return HttpResponse(page, status=507 if is_full else 500)


def is_disk_full(fault: BaseException | None) -> bool:
    """No room for a file, or PostgreSQL says that it has none (SQLSTATE 53100)."""
    while fault is not None:
        if isinstance(fault, psycopg.errors.DiskFull) or (
            isinstance(fault, OSError) and fault.errno in NO_ROOM
        ):
            return True
        fault = fault.__cause__
    return False


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    if is_of_api(request):
        return problem_response(400, "The request cannot be read.")
    most = settings.DATA_UPLOAD_MAX_MEMORY_SIZE if isinstance(exception, RequestDataTooBig) else 0
    is_cut = isinstance(exception, UnfinishedFormError)
    context = {"why": "bad_request", "most_bytes": most, "is_cut": is_cut}
    return render(request, "went_wrong.html", context, status=400)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    context = {"why": "forbidden", "words": str(exception)}
    return render(request, "went_wrong.html", context, status=403)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "went_wrong.html", {"why": "not_found"}, status=404)
