"""Puts the business on each request and shows times in its zone;
keeps a form whose sender is no longer signed in."""

from collections.abc import Callable
from typing import Any
from urllib.parse import urlencode, urlsplit

from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils import timezone

from clients import display
from clients.models import Business
from clients.storable import storable_fields
from clients.views import sign_in

FRENCH_PAGE = b'<html lang="fr"'
UNSTORABLE_ESCAPE = "%00"  # all else that is no character is replaced where it is decoded
PATHS_WITHOUT_BUSINESS = ("/first-visit/", "/health/", "/static/", "/sign-in/")


class BusinessMiddleware:
    """Before the first visit there is no business: every page leads to the page that makes one."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path.startswith("/health/"):
            return self.get_response(request)
        business = Business.current()
        if business is None and not request.path.startswith(PATHS_WITHOUT_BUSINESS):
            return redirect("first_visit")
        request.business = business  # type: ignore[attr-defined]
        with (
            display.override_business(business),
            timezone.override(business.zone if business else None),
        ):
            return self.get_response(request)


class FrenchTypeMiddleware:
    """Pages that a client reads in French have the spaces and apostrophes of their region."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        is_page = response.get("Content-Type", "").startswith("text/html")
        if is_page and not response.streaming and FRENCH_PAGE in response.content[:100]:
            with display.in_client_language("fr"):
                response.content = display.set_page_type(response.text).encode()
        return response


class NoStoreMiddleware:
    """Nothing of the book stays in a proxy's or a browser's memory (RFC 9111, 5.2.2): papers, lists
    and pictures are never stored.

    A page may be, privately, for Back: a form that Back loads anew has lost what was typed, and
    would log a job twice. Signing out clears what is stored (W3C, Clear Site Data).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if "no-store" not in response.get("Cache-Control", ""):
            is_page = response.get("Content-Type", "").startswith("text/html")
            response["Cache-Control"] = "private, no-cache" if is_page else "private, no-store"
        return response


class StorableTextMiddleware:
    """A NUL in an address, which no database can be asked for, is left out before a page sees
    it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if UNSTORABLE_ESCAPE in request.META.get("QUERY_STRING", ""):
            request.GET = storable_fields(request.GET)  # type: ignore[assignment]
        return self.get_response(request)


class SignInMiddleware(LoginRequiredMiddleware):
    """Sign-in is the default on every page.
    A form sent after the session ended is kept, not thrown away."""

    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> Any:
        if request.method == "POST":
            return sign_in.show_interrupted_form(request)
        if request.headers.get("HX-Request"):  # a part of a page: the whole page must go to sign-in
            back = urlencode(
                {"next": urlsplit(request.headers.get("HX-Current-URL", "")).path or "/"}
            )
            return HttpResponse(
                status=204, headers={"HX-Redirect": f"{resolve_url('sign_in')}?{back}"}
            )
        return super().handle_no_permission(request, view_func)
