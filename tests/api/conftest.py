"""A program with a token."""

import itertools
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import pytest
from django.test import Client as Browser
from freezegun import freeze_time

from clients.models import User
from restorer.api import make_api_token
from restorer.models import ApiToken

NUMBERS = itertools.count()
NOW = datetime(2026, 11, 30, 12, tzinfo=UTC)


@dataclass
class Program:
    """Asks the API with one token, as a program does: no cookie, no page."""

    token: str
    row: ApiToken

    def ask(self, method: str, path: str, **options: Any) -> Any:
        headers = {"Authorization": f"Bearer {self.token}"} | options.pop("headers", {})
        address = path if path.startswith("http") else f"/api/v1{path}"
        return Browser().generic(method, address, headers=headers, **options)

    def get(self, path: str, **options: Any) -> Any:
        return self.ask("GET", path, **options)

    def read(self, path: str) -> Any:
        answer = self.get(path)
        assert answer.status_code == 200, answer.content
        return answer.json()

    def post(self, path: str, body: Any, *, key: str | None = "") -> Any:
        """With a key of its own unless one is given; None sends none."""
        key = f"key-{next(NUMBERS)}" if key == "" else key
        headers = {} if key is None else {"Idempotency-Key": key}
        data = body if isinstance(body, bytes) else json.dumps(body).encode()
        return self.ask("POST", path, headers=headers, data=data, content_type="application/json")


@pytest.fixture
def _clock() -> Iterator[None]:
    """The day on which the tests of this folder take place."""
    with freeze_time(NOW, tick=True):
        yield


@pytest.fixture
def program(owner: User) -> Callable[..., Program]:
    def make(role: str = "read", name: str = "Accounts") -> Program:
        row, token = make_api_token(
            name=name, role=role, by=owner, now=datetime(2026, 11, 1, tzinfo=UTC)
        )
        return Program(token, row)

    return make


@pytest.fixture
def reader(program: Callable[..., Program]) -> Program:
    return program("read", "Reader")


@pytest.fixture
def writer(program: Callable[..., Program]) -> Program:
    return program("write", "Writer")
