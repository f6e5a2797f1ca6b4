"""Puts the business on each request and shows times in its zone."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone

from clients import display
from clients.models import Business

WITHOUT_A_BUSINESS = ("/first-visit/", "/health/", "/static/", "/sign-in/")


class BusinessMiddleware:
    """Before the first visit there is no business: every page leads to the page that makes one."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path.startswith("/health/"):
            return self.get_response(request)
        business = Business.current()
        if business is None and not request.path.startswith(WITHOUT_A_BUSINESS):
            return redirect("first_visit")
        request.business = business  # type: ignore[attr-defined]
        with display.written_for(business), timezone.override(business.zone if business else None):
            return self.get_response(request)
