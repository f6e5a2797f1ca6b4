"""The first page, the health page and the pages for when something went wrong."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET

from reminders.months import month_of
from restorer.month_page import month_page
from restorer.parts import sample_parts


@require_GET
def this_month(request: HttpRequest) -> HttpResponse:
    """The first page after signing in."""
    today = request.business.today(timezone.now())
    return render(request, "restorer/this_month.html", {"page": month_page(month_of(today)), "today": today})


@require_GET
def health(request: HttpRequest) -> HttpResponse:
    return HttpResponse("ok")


@require_GET
def parts(request: HttpRequest) -> HttpResponse:
    """The sample page of every part of the style (only while developing)."""
    today = request.business.today(timezone.now()) if request.business else timezone.now().date()
    return render(request, "restorer/parts.html", sample_parts(today))


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    return render(request, "403_csrf.html", status=403)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "400.html", status=400)


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    return render(request, "403.html", {"why": str(exception)}, status=403)
