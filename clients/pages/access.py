"""Who may open a page: one decorator a right, on top of sign-in, which is the default everywhere;
and who asks."""

from collections.abc import Callable
from datetime import date
from functools import wraps
from typing import Any, cast

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme

from clients.models import Business, User

ViewFunction = Callable[..., HttpResponse]
REFUSED_FEATURES = "camera=(), geolocation=(), microphone=(), payment=(), usb=()"


def right_required(right: str, message: str) -> Callable[[ViewFunction], ViewFunction]:
    """A decorator that lets a view run only when the user has the right (a property of User)."""

    def decorate(view: ViewFunction) -> ViewFunction:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not getattr(request.user, right, False):
                raise PermissionDenied(message)
            return view(request, *args, **kwargs)

        return guarded

    return decorate


office_required = right_required("may_send", "Only the owner and the office may do this.")
owner_required = right_required("may_manage", "Only the owner may do this.")


def with_camera(view: ViewFunction) -> ViewFunction:
    """A page on which a code is read with the camera: our own scripts may ask the person for it."""

    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = view(request, *args, **kwargs)
        response["Permissions-Policy"] = REFUSED_FEATURES.replace("camera=()", "camera=(self)")
        return response

    return answered


def visitor_address(request: HttpRequest) -> str:
    """Whoever asks; behind a proxy the web process has put the visitor there."""
    return str(request.META.get("REMOTE_ADDR", ""))


def current_user(request: HttpRequest) -> User:
    """Who asks; every page but the public ones is reached signed in."""
    return cast(User, request.user)


def business_of(request: HttpRequest) -> Business:
    """The business, which is there once the first visit is over."""
    # clients.middleware puts it there
    return cast(Business, request.business)  # type: ignore[attr-defined]


def business_today(request: HttpRequest) -> date:
    """The date at the business."""
    return business_of(request).today(timezone.now())


def redirect_back(request: HttpRequest, to: str, *args: Any) -> HttpResponseRedirect:
    """To the page of ours that the form names as `back`, else to the page that is named here."""
    back = posted_back(request)
    return HttpResponseRedirect(back) if back else redirect(to, *args)


def posted_back(request: HttpRequest) -> str:
    """The page of ours that the form names as `back`; empty if it names none of ours."""
    back = request.POST.get("back", "")
    is_ours = url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()})
    return back if is_ours else ""


def is_kept_form(request: HttpRequest) -> bool:
    """Sent by a phone that keeps the form until it hears that it was taken."""
    return "X-Kept-Form" in request.headers
