"""Who may open a page: one decorator a right, on top of sign-in, which is the default everywhere."""

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse

View = Callable[..., HttpResponse]


def needs(right: str, message: str) -> Callable[[View], View]:
    """A decorator that lets a view run only when the user has the right (a property of User)."""

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not getattr(request.user, right, False):
                raise PermissionDenied(message)
            return view(request, *args, **kwargs)

        return guarded

    return decorate


sends = needs("may_send", "Only the owner and the office may do this.")
manages = needs("may_manage", "Only the owner may do this.")
