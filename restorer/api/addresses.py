"""The addresses under /api/v1/ and their description in OpenAPI 3.1."""

from collections.abc import Callable
from functools import cached_property, wraps
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import URLPattern, re_path
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import conditional_page
from ninja import NinjaAPI
from ninja.errors import HttpError, ValidationError

from restorer.api import problems, reading, sending, tokens, writing  # noqa: F401 - two add to it
from restorer.api.description import described


class BookAPI(NinjaAPI):
    """With problem details in its description, which is made once: anybody may ask for it."""

    @cached_property
    def description_of_all(self) -> Any:
        return described(super().get_openapi_schema())

    def get_openapi_schema(self, **options: Any) -> Any:
        return self.description_of_all


api = BookAPI(
    title="The book of a deck restoration business",
    version="1",
    urls_namespace="api",
    docs_url=None,
    description="Clients, decks, jobs, forecasts, offers and bookings. See docs/api.md.",
)
api.add_router("", reading.router)


def answer_not_found(request: HttpRequest, error: Any) -> HttpResponse:
    return problems.problem_response(404, str(error) or "There is nothing at this address.")


ANSWER_TO: list[tuple[type[Exception], Callable[..., HttpResponse]]] = [
    (tokens.NoTokenError, tokens.answer_no_token),
    (tokens.RoleError, tokens.answer_wrong_role),
    (tokens.TooManyGuessesError, tokens.answer_too_many_guesses),
    (problems.MistakesError, problems.answer_mistakes),
    (ValidationError, problems.answer_unreadable),
    (HttpError, problems.answer_http_error),
    (Http404, answer_not_found),
]
for fault, answer in ANSWER_TO:
    api.add_exception_handler(fault, answer)


def for_programs(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """No cookie counts here, so nothing can be forged; a page that has not changed is not sent
    again (If-None-Match, RFC 9110, 13.1.2)."""
    unchanged = conditional_page(view)

    @csrf_exempt
    @login_not_required
    @wraps(view)
    def answered(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = unchanged(request, *args, **kwargs)
        if response.status_code != 405:
            return response
        allow = {"Allow": response.get("Allow", "GET")}
        return problems.problem_response(405, "This address takes other methods.", headers=allow)

    return answered


def unknown_address(request: HttpRequest) -> HttpResponse:
    return problems.problem_response(404, "There is nothing at this address.")


def program_urls() -> tuple[list[URLPattern], str]:
    """The addresses of the API; what is none of them is answered like the others."""
    ours = [each for each in api.urls[0] if isinstance(each, URLPattern)]
    for each in ours:
        is_root = each.name == "api-root"  # nothing is there; the library asks where it is
        each.callback = for_programs(unknown_address if is_root else each.callback)
    return [*ours, *other_urls()], "api"


def other_urls() -> list[URLPattern]:
    """What begins like the API and is none of its versions."""
    return [re_path(r"", for_programs(unknown_address))]
