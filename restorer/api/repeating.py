"""Asking again with the same key writes nothing twice: the answer is kept for a week."""

import hashlib
import json
import uuid
from collections.abc import Callable
from datetime import datetime
from typing import Annotated, Any

from auditlog.context import set_actor
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from ninja import Header, Schema

from clients.actions.saving import lock_until_commit
from restorer.api.problems import problem_response
from restorer.models import ApiToken, KeptAnswer

KEY_HEADER = "Idempotency-Key"
IdempotencyKey = Annotated[
    str,
    Header(
        alias=KEY_HEADER,
        min_length=1,
        max_length=200,
        pattern=r"^[!-~]+$",
        description="Your own name of this request, such as a UUID; the same for each try.",
    ),
]


def token_of(request: HttpRequest) -> ApiToken:
    """The token of the program that asks."""
    found: ApiToken = request.auth  # type: ignore[attr-defined]  # the library puts it there
    return found


def form_key_of(token: ApiToken, key: str) -> uuid.UUID:
    """The key of what is made by this request, for whatever is known by a key of its own."""
    return uuid.uuid5(uuid.NAMESPACE_URL, f"api/{token.pk}/{key}")


@transaction.atomic
def answer_once(
    request: HttpRequest, key: str, body: Schema, write: Callable[[datetime], Schema]
) -> HttpResponse:
    """What `write` made, written by the first request with this key and only told again by those
    that follow. What fails keeps nothing, so it may be put right and sent again."""
    token = token_of(request)
    now = timezone.now()
    lock_until_commit(f"api {token.pk} {key}")
    KeptAnswer.objects.old(now=now).filter(token=token, key=key).delete()
    asked = request_hash(request, body)
    kept = KeptAnswer.objects.filter(token=token, key=key).first()
    if kept is not None:
        return repeated_answer(kept, asked)
    with set_actor(token.made_by, request.META.get("REMOTE_ADDR")):
        made = write(now)
    content = json.dumps(made.model_dump(mode="json"), ensure_ascii=False)
    KeptAnswer.objects.create(
        token=token, key=key, request_hash=asked, status=201, body=content, answered_at=now
    )
    return json_response(content, 201)


def request_hash(request: HttpRequest, body: Schema) -> str:
    text = f"{request.method} {request.path}\n{body.model_dump_json()}"
    return hashlib.sha256(text.encode()).hexdigest()


def repeated_answer(kept: KeptAnswer, asked: str) -> HttpResponse:
    if kept.request_hash != asked:
        return problem_response(
            422,
            "This key was used for another request. Take a new key for each new request.",
            errors=[{"detail": "Used already.", "header": KEY_HEADER}],
        )
    return json_response(kept.body, kept.status, {"Idempotent-Replayed": "true"})


def json_response(content: str, status: int, headers: Any = None) -> HttpResponse:
    return HttpResponse(
        content, status=status, content_type="application/json; charset=utf-8", headers=headers
    )
