"""Who asks: a program with a token, which the owner made and may revoke."""

import secrets
from datetime import datetime

from django.db import transaction
from django.db.models.functions import Lower
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from ninja.security import HttpBearer

from clients.actions.saving import lock_row, lock_until_commit
from clients.messaging.message_keys import token_hash
from clients.models import User
from clients.pages import visitor_address
from clients.signing_in import GuessLimit
from restorer.api.problems import problem_response
from restorer.models import ApiToken

TOKEN_BYTES = 32
WRONG_TOKENS = GuessLimit("api-token", a_network=60)  # a right one is taken beyond it
CHALLENGE = {"WWW-Authenticate": 'Bearer realm="book"'}  # RFC 6750, 3


class TokenTakenError(ValueError):
    """Another program has that name."""


class NoTokenError(Exception):
    """No token, or one that is not in force."""


class TooManyGuessesError(Exception):
    """So many wrong tokens from one network that nobody answers them any more."""


class RoleError(Exception):
    """A token that may not do this."""


@transaction.atomic
def make_api_token(*, name: str, role: str, by: User, now: datetime) -> tuple[ApiToken, str]:
    """A token for one program or device; the second value is shown once and kept nowhere.
    Raises `TokenTakenError`."""
    name = " ".join(name.split())
    lock_until_commit(f"api token {name.casefold()}")
    same = ApiToken.objects.alias(lower=Lower("name")).filter(lower=name.lower(), revoked_at=None)
    if same.exists():
        raise TokenTakenError(
            f"{name} has a token already. Take another name, or revoke that one first."
        )
    token = secrets.token_urlsafe(TOKEN_BYTES)
    row = ApiToken.objects.create(
        name=name, role=role, token_hash=token_hash(token), made_by=by, made_at=now
    )
    return row, token


@transaction.atomic
def revoke_api_token(*, row: ApiToken, now: datetime) -> None:
    """It opens nothing any more. Doing it twice changes nothing."""
    row = lock_row(row)
    if row.revoked_at is None:
        row.revoked_at = now
        row.save(update_fields=["revoked_at"])


class Bearer(HttpBearer):
    """`Authorization: Bearer` (RFC 6750) with a token that may do this."""

    def __init__(self, role: str) -> None:
        super().__init__()
        self.role = role

    def __call__(self, request: HttpRequest) -> ApiToken:
        found: ApiToken | None = super().__call__(request)
        if found is None:
            raise NoTokenError
        return found

    def authenticate(self, request: HttpRequest, token: str) -> ApiToken:
        now = timezone.now()
        rows = ApiToken.objects.in_force().select_related("made_by")
        row = rows.filter(token_hash=token_hash(token)).first()
        if row is None:
            refuse_guess(request, now=now)
            raise NoTokenError
        if not row.may(self.role):
            raise RoleError
        if row.is_use_stale(now=now):
            ApiToken.objects.filter(pk=row.pk).update(last_used_at=now)
        return row


def refuse_guess(request: HttpRequest, *, now: datetime) -> None:
    address = visitor_address(request)
    if WRONG_TOKENS.is_reached(address, now=now):
        raise TooManyGuessesError
    WRONG_TOKENS.note_wrong(address, now=now)


may_read = Bearer(ApiToken.Role.READ)
may_write = Bearer(ApiToken.Role.WRITE)
may_send = Bearer(ApiToken.Role.SEND)


def answer_no_token(request: HttpRequest, error: Exception) -> HttpResponse:
    words = (
        "Send a token that is in force as Authorization: Bearer. The owner makes one in Settings,"
        " Programs."
    )
    return problem_response(401, words, headers=CHALLENGE)


def answer_wrong_role(request: HttpRequest, error: Exception) -> HttpResponse:
    words = "This token may not do this. Ask the owner for one that may."
    headers = {"WWW-Authenticate": f'{CHALLENGE["WWW-Authenticate"]}, error="insufficient_scope"'}
    return problem_response(403, words, headers=headers)


def answer_too_many_guesses(request: HttpRequest, error: Exception) -> HttpResponse:
    words = "Too many wrong tokens came from your network. Try again in an hour."
    return problem_response(429, words, headers={"Retry-After": "3600"})
