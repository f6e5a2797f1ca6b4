"""What is answered instead of what was asked for: problem details (RFC 9457)."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse
from ninja import Schema
from ninja.errors import HttpError, ValidationError
from pydantic import Field

API_PATH = "/api/"
CONTENT_TYPE = "application/problem+json"
WHERE_IT_STANDS = {"body": "pointer", "query": "parameter", "path": "parameter", "header": "header"}


class ProblemError(Schema):
    """One mistake: where it stands, and what to do."""

    detail: str
    pointer: str | None = Field(None, description="Of the field in the body (RFC 6901).")
    parameter: str | None = Field(None, description="Of the address.")
    header: str | None = None
    suggestions: list[str] | None = Field(None, description="What may have been meant.")


class ProblemOut(Schema):
    """Problem details (RFC 9457)."""

    type: str = "about:blank"
    title: str
    status: int
    detail: str
    errors: list[ProblemError] | None = None


@dataclass(frozen=True)
class Mistake:
    """One field that cannot be taken: `pointer` is that of RFC 6901 in the body."""

    pointer: str
    detail: str
    suggestions: Sequence[str] = ()

    def as_row(self) -> dict[str, Any]:
        row: dict[str, Any] = {"detail": self.detail, "pointer": self.pointer}
        return row | ({"suggestions": list(self.suggestions)} if self.suggestions else {})


class MistakesError(Exception):
    """What was sent cannot be written; each mistake is named."""

    def __init__(self, mistakes: Sequence[Mistake]) -> None:
        super().__init__(*[each.detail for each in mistakes])
        self.mistakes = mistakes


def problem_response(
    status: int,
    detail: str,
    *,
    errors: Sequence[Mapping[str, Any]] = (),
    headers: Mapping[str, str] | None = None,
) -> HttpResponse:
    """An answer of this status that says in `detail` what to do."""
    known = HTTPStatus(status)
    content: dict[str, Any] = {
        "type": "about:blank",
        "title": known.phrase,
        "status": status,
        "detail": detail,
    }
    if errors:
        content["errors"] = list(errors)
    return HttpResponse(
        json.dumps(content), status=status, content_type=CONTENT_TYPE, headers=dict(headers or {})
    )


def is_of_api(request: HttpRequest) -> bool:
    """Whether a program asks, which cannot read a page."""
    return request.path.startswith(API_PATH)


def answer_unreadable(request: HttpRequest, error: ValidationError) -> HttpResponse:
    """Fields of the wrong kind, all named at once."""
    return problem_response(
        422, "Some fields cannot be taken.", errors=[found_error(each) for each in error.errors]
    )


def found_error(found: Mapping[str, Any]) -> dict[str, Any]:
    """One finding of Pydantic, whose `loc` begins with where the field stands and the name of our
    parameter."""
    source, *path = found["loc"]
    where = WHERE_IT_STANDS[source]
    if where == "pointer":
        place = "".join(f"/{part}" for part in path[1:])
    else:
        place = str(path[-1]) if path else ""
    return {"detail": f"{found['msg']}.", where: place}


def answer_mistakes(request: HttpRequest, error: MistakesError) -> HttpResponse:
    return problem_response(
        422,
        "Nothing was written: some fields cannot be taken.",
        errors=[each.as_row() for each in error.mistakes],
    )


def answer_http_error(request: HttpRequest, error: HttpError) -> HttpResponse:
    return problem_response(error.status_code, str(error))
