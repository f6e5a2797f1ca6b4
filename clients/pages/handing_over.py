"""A phone that is handed to a client shows one page, until somebody of the business takes it back.

The page is noted in the session. It is a fence, no lock: taking it back is a press, not a password
(docs/decisions/0055)."""

from django.http import HttpRequest
from django.urls import reverse

HANDED_OVER = "handed_over"  # key of the session; its value is the address of the page


def is_opened_by_person(request: HttpRequest) -> bool:
    """A page that a browser opens asks for HTML; what scripts and programs read does not."""
    is_page = request.method == "GET" and "text/html" in request.headers.get("Accept", "")
    return is_page and "HX-Request" not in request.headers


def hand_over(request: HttpRequest) -> None:
    """From now on this page is the only one; not where a phone only keeps it for later."""
    if is_opened_by_person(request) and request.session.get(HANDED_OVER) != request.path:
        request.session[HANDED_OVER] = request.path


def take_back(request: HttpRequest) -> None:
    request.session.pop(HANDED_OVER, None)


def is_handed_page(request: HttpRequest) -> bool:
    return bool(request.session.get(HANDED_OVER) == request.path)


def page_to_stay_on(request: HttpRequest) -> str:
    """Where a browser in a client's hands is led back to; empty if it may open what it asks for."""
    only: str = request.session.get(HANDED_OVER, "")
    is_open = request.path in (only, reverse("privacy")) or not is_opened_by_person(request)
    return "" if is_open else only
