"""Who may ask what: tokens, roles, guessing, and the owner's page of programs."""

import re
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest
from auditlog.models import LogEntry
from django.core.cache import cache
from django.test import Client as Browser
from django.urls import reverse

from clients.models import User
from restorer.api.tokens import WRONG_TOKENS
from restorer.models import ApiToken
from tests.api.conftest import Program
from tests.clients.test_rights import API, named_patterns
from tests.factories import DeckFactory

READ = "/api/v1/clients"
# what each method of each address asks of a token; the description is open to everybody
ROLE_OF = {
    ("GET", name): "read"
    for name in """clients client sites site decks deck jobs job checks products product batches
        due offers offer bookings booking""".split()
} | {("POST", name): "write" for name in ("clients", "jobs", "checks")}
ROLE_OF["POST", "reminders"] = "send"
OPEN = {("GET", "openapi-json"), ("GET", "api-root")}  # nothing is at the second
LOWER = {"read": [], "write": ["read"], "send": ["read", "write"]}


def address_of(name: str) -> str:
    arguments = named_patterns()[f"api:{name}"]
    return reverse(f"api:{name}", kwargs=arguments)


def ask(method: str, name: str, token: str | None) -> Any:
    headers = {"Idempotency-Key": "1"} | ({"Authorization": f"Bearer {token}"} if token else {})
    return Browser().generic(method, address_of(name), b"{}", "application/json", headers=headers)


def test_every_address_of_the_api_says_which_token_may_open_it() -> None:
    assert {f"api:{name}" for _, name in [*ROLE_OF, *OPEN]} == API


@pytest.mark.parametrize(("method", "name"), sorted(ROLE_OF))
def test_an_address_opens_to_its_roles_only(
    program: Callable[..., Program], method: str, name: str
) -> None:
    role = ROLE_OF[method, name]

    assert ask(method, name, None).status_code == 401
    assert ask(method, name, "x" * 43).status_code == 401
    for lower in LOWER[role]:
        refused = ask(method, name, program(lower, lower).token)
        assert refused.status_code == 403
        assert refused["Content-Type"] == "application/problem+json"
        assert 'error="insufficient_scope"' in refused["WWW-Authenticate"]  # RFC 6750, 3.1
    assert ask(method, name, program(role, "right").token).status_code in {200, 404, 422}
    assert ask(method, name, program("send", "highest").token).status_code in {200, 404, 422}


@pytest.mark.parametrize(
    "header", [None, "", "Bearer", "Bearer ", "Basic bWFyZW46eA==", "Bearer ü", "Token x"]
)
def test_without_a_token_the_answer_says_how_to_bring_one(
    business: Any, header: str | None
) -> None:
    headers = {} if header is None else {"Authorization": header}

    answer = Browser().get(READ, headers=headers)

    assert answer.status_code == 401
    assert answer["WWW-Authenticate"].startswith("Bearer ")  # RFC 9110, 11.6.1; RFC 6750, 3
    assert answer["Content-Type"] == "application/problem+json"


def test_who_is_signed_in_has_no_token_and_a_token_signs_nobody_in(
    as_owner: Browser, reader: Program
) -> None:
    answer = reader.get("/clients")

    assert as_owner.get(READ).status_code == 401
    assert not answer.cookies
    assert reader.ask("GET", "http://testserver/clients/").status_code == 302


def test_a_program_needs_no_csrf_token(writer: Program) -> None:
    browser = Browser(enforce_csrf_checks=True)
    headers = {"Authorization": f"Bearer {writer.token}", "Idempotency-Key": "1"}

    answer = browser.post("/api/v1/jobs", b"{}", content_type="application/json", headers=headers)

    assert answer.status_code == 422


def test_before_the_first_visit_there_is_no_token(db: None) -> None:
    assert Browser().get(READ).status_code == 401


def test_the_token_itself_is_nowhere_in_the_database(reader: Program) -> None:
    row = ApiToken.objects.get()

    assert reader.token not in str(vars(row))
    assert len(row.token_hash) == 64
    trail = LogEntry.objects.get_for_object(row).values_list("changes", flat=True)
    assert row.token_hash not in str(list(trail))


def test_a_token_is_over_when_it_is_revoked_or_its_maker_leaves(
    program: Callable[..., Program], as_owner: Browser, owner: User
) -> None:
    revoked, left = program(name="One"), program(name="Two")
    as_owner.post(reverse("program_end", args=[revoked.row.pk]))

    assert revoked.get("/clients").status_code == 401
    assert left.get("/clients").status_code == 200
    owner.is_active = False
    owner.save()
    assert left.get("/clients").status_code == 401


def test_wrong_tokens_are_counted_and_a_right_one_still_opens(reader: Program) -> None:
    for _ in range(WRONG_TOKENS.a_network):
        assert Browser().get(READ, headers={"Authorization": "Bearer x"}).status_code == 401

    refused = Browser().get(READ, headers={"Authorization": "Bearer x"})

    assert refused.status_code == 429
    assert refused["Retry-After"] == "3600"
    assert reader.get("/clients").status_code == 200
    cache.clear()
    assert Browser().get(READ, headers={"Authorization": "Bearer x"}).status_code == 401


def test_the_last_use_is_noted_once_a_minute(reader: Program) -> None:
    reader.get("/clients")
    first = ApiToken.objects.get().last_used_at
    reader.get("/clients")

    assert first is not None
    assert ApiToken.objects.get().last_used_at == first
    ApiToken.objects.update(last_used_at=datetime(2026, 1, 1, tzinfo=UTC))
    reader.get("/clients")
    assert ApiToken.objects.get().last_used_at > datetime(2026, 1, 1, tzinfo=UTC)


def test_the_owner_makes_a_token_and_sees_it_once(as_owner: Browser) -> None:
    made = as_owner.post(reverse("program_add"), {"name": " Van  2 ", "role": "write"})
    text = made.content.decode()
    token = re.search(r'id="token" value="([^"]+)"', text)[1]

    row = ApiToken.objects.get()
    answer = Browser().get(READ, headers={"Authorization": f"Bearer {token}"})
    assert (row.name, row.role) == ("Van 2", "write")
    assert "no-store" in made["Cache-Control"]
    assert answer.status_code == 200
    later = as_owner.get(reverse("programs")).content.decode()
    assert token not in later
    assert "Van 2" in later


def test_two_programs_of_one_name_are_not_told_apart_so_the_second_is_refused(
    as_owner: Browser, program: Callable[..., Program]
) -> None:
    program(name="Van 2")

    answer = as_owner.post(reverse("program_add"), {"name": "van 2", "role": "read"})

    assert "has a token already" in answer.content.decode()
    assert 'value="van 2"' in answer.content.decode()
    assert ApiToken.objects.count() == 1


@pytest.mark.parametrize("data", [{}, {"name": "x", "role": "all"}, {"name": "a" * 81}])
def test_a_program_without_name_or_role_is_asked_for_them(
    as_owner: Browser, data: dict[str, str]
) -> None:
    answer = as_owner.post(reverse("program_add"), data)

    assert "Please look at th" in answer.content.decode()
    assert not ApiToken.objects.exists()


def test_what_a_program_writes_is_in_the_trail_under_who_made_its_token(
    writer: Program, owner: User
) -> None:
    deck = DeckFactory()
    body = {"deck_id": deck.pk, "visited_on": "2026-06-12", "overall": 2, "reason": "due"}
    writer.post("/checks", body)

    assert LogEntry.objects.filter(content_type__model="visit").get().actor == owner
