"""The description in OpenAPI 3.1, and schemathesis, which asks everything that it allows and what
it does not: no fault of ours, and each answer as described."""

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.core.cache import cache
from django.core.management import call_command
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from django.test import Client as Browser
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    ignored_auth,
    negative_data_rejection,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from clients.models import User
from restorer.api import make_api_token
from restorer.wsgi import application

DESCRIPTION = "/api/v1/openapi.json"
EXAMPLES = 25
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    negative_data_rejection,
    ignored_auth,
    unsupported_method,
]


def test_the_description_is_open_and_says_which_version_it_is_written_in(business: Any) -> None:
    answer = Browser().get(DESCRIPTION)

    found = answer.json()
    assert answer.status_code == 200
    assert found["openapi"].startswith("3.1.")  # OpenAPI Specification 3.1.0, 4.8.1
    assert set(found["components"]["securitySchemes"]) == {"Bearer"}
    assert all(path.startswith("/api/v1/") for path in found["paths"])


def test_every_operation_says_who_may_ask_and_what_problems_there_are(business: Any) -> None:
    found = Browser().get(DESCRIPTION).json()

    for path, methods in found["paths"].items():
        for method, operation in methods.items():
            assert operation["security"], path
            assert {"401", "403", "404", "422"} <= set(operation["responses"]), path
            if method == "post":
                names = {each["name"]: each["required"] for each in operation["parameters"]}
                assert names["Idempotency-Key"] is True


def test_no_script_and_no_page_comes_with_it(business: Any) -> None:
    text = Browser().get(DESCRIPTION).content.decode()

    assert "<script" not in text
    assert Browser().get("/api/v1/docs").status_code == 404


@pytest.fixture
def _one_connection() -> Iterator[None]:
    """What Django's own test client does: a request leaves the connection of the test open."""
    signals = [request_started, request_finished]
    for signal in signals:
        signal.disconnect(close_old_connections)
    yield
    for signal in signals:
        signal.connect(close_old_connections)


@pytest.fixture
def token(db: None, _one_connection: None) -> str:
    """Of a program that may do all, with the demo's book."""
    call_command("load_places", verbosity=0)
    call_command("load_demo_book", verbosity=0)
    owner = User.objects.filter(role="owner").earliest("pk")
    return make_api_token(name="Fuzzer", role="send", by=owner, now=owner.date_joined)[1]


def ask_anything(operation: Any, token: str) -> int:
    """How many requests were made of this operation; the first fault is raised."""
    tried = 0

    @settings(
        max_examples=EXAMPLES,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy())
    def ask(case: Any) -> None:
        nonlocal tried
        tried += 1
        case.call_and_validate(headers=headers, checks=CHECKS)

    # without packing, which the client of these requests does not undo
    headers = {"Authorization": f"Bearer {token}", "Accept-Encoding": "identity"}
    cache.clear()  # of wrong tokens, which are asked for by the way
    ask()
    return tried


@pytest.mark.slow
def test_schemathesis_finds_nothing(token: str) -> None:
    schema = schemathesis.openapi.from_wsgi(DESCRIPTION, application)
    operations = [found.ok() for found in schema.get_all_operations()]

    tried = [ask_anything(operation, token) for operation in operations]

    assert len(tried) >= 19
    assert all(tried)
