"""Puts the business on each request and shows times in its zone;
keeps a form whose sender is no longer signed in."""

from collections.abc import Callable
from http import HTTPStatus
from typing import Any
from urllib.parse import urlencode, urlsplit

from auditlog.middleware import AuditlogMiddleware
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.http.response import HttpResponseBase, HttpResponseRedirectBase
from django.middleware.gzip import GZipMiddleware
from django.shortcuts import redirect, resolve_url
from django.utils import timezone

from clients import display
from clients.models import Business
from clients.notation import storable_fields
from clients.pages import (
    REFUSED_FEATURES,
    is_handed_page,
    is_kept_form,
    page_to_stay_on,
    take_back,
    visitor_address,
)
from clients.views import sessions, sign_in

FRENCH_PAGE = b'<html lang="fr"'
UNSTORABLE_ESCAPE = "%00"  # all else that is no character is replaced where it is decoded
SET_UP_PAGES = {
    "sign_out",
    "settings:signing_in",
    "settings:prove_it_is_you",
    "settings:app",
    "settings:passkey_options",
    "settings:add_passkey",
    "settings:recovery_codes",
    "health",
}
PATHS_WITHOUT_BUSINESS = ("/first-visit/", "/health/", "/metrics", "/static/", "/sign-in/", "/api/")


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
            is_kept = is_page or response.has_header("ETag")  # a program asks whether it changed
            response["Cache-Control"] = "private, no-cache" if is_kept else "private, no-store"
        return response


class GzipPagesMiddleware(GZipMiddleware):
    """Compresses what nobody could have put words into: a GET without a question. Where words of
    the asker and a secret of the page are compressed together, lengths tell the secret bit by bit
    (BREACH); Django's own random padding only slows that down."""

    def process_response(
        self, request: HttpRequest, response: HttpResponseBase
    ) -> HttpResponseBase:
        if request.method != "GET" or request.META.get("QUERY_STRING"):
            return response
        return super().process_response(request, response)


class PermissionsPolicyMiddleware:
    """No page, and nothing that is put into one, asks a device for more than files and passkeys
    (W3C, Permissions Policy), but the page that says so itself (`with_camera`)."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        response.setdefault("Permissions-Policy", REFUSED_FEATURES)
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


class OpenSessionMiddleware:
    """Ends what is over, notes when a device was last here, and leads whoever has to set up a
    second step to the page for it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if not request.path.startswith("/health/") and sessions.is_signed_in(request):
            now = timezone.now()
            sessions.end_if_over(request, now=now)
            sessions.note_seen(request, now=now)
        return self.get_response(request)

    def process_view(
        self, request: HttpRequest, view_func: Any, view_args: Any, view_kwargs: Any
    ) -> HttpResponse | None:
        match = request.resolver_match
        if not match or match.view_name in SET_UP_PAGES or not sessions.has_to_set_up(request):
            return None
        if request.method == "POST":
            return sign_in.show_form_before_set_up(request)
        return redirect("settings:signing_in")


class SignInMiddleware(LoginRequiredMiddleware):
    """Sign-in is the default on every page.
    A form sent after the session ended is kept, not thrown away."""

    def handle_no_permission(self, request: HttpRequest, view_func: Any) -> Any:
        if is_kept_form(request):
            return HttpResponse(status=401)  # it stays on the phone
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


class HandedOverMiddleware:
    """Back and the address bar of a phone in a client's hands lead to the page they were handed; if
    that page is gone, nobody is kept on it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if only := page_to_stay_on(request):
            return redirect(only)
        response = self.get_response(request)
        if response.status_code == HTTPStatus.NOT_FOUND and is_handed_page(request):
            take_back(request)
        return response


class KeptFormMiddleware:
    """A form that a phone keeps until it was taken (`X-Kept-Form`) hears in a word where it led:
    the page itself, and what it says was done, waits for a person."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if not is_kept_form(request):
            return response
        if isinstance(response, HttpResponseRedirectBase):
            response = JsonResponse({"to": response.url})
        response["X-Kept-Form"] = "heard"  # what answers in our place does not know it
        return response


class TrailMiddleware(AuditlogMiddleware):  # type: ignore[misc]
    """Who is named in the trail of changes, and by which address: never the one that a visitor
    claims in a header."""

    def get_extra_data(self, request: HttpRequest) -> dict[str, Any]:
        address = visitor_address(request) or None
        own = {"remote_addr": address, "remote_port": None}
        return {**super().get_extra_data(request), **own}
