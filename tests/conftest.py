"""What nearly every test needs: the business, its people and a browser-like client signed in as one of them."""

from collections.abc import Callable, Iterator

import pytest
from django.core.cache import cache
from django.db import connection
from django.test import Client
from pytest_django.plugin import DjangoDbBlocker

from clients.models import Business, User
from tests.factories import BusinessFactory, UserFactory


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """A thread of the live server or a killed sender may hold a connection a moment too long: end them, then drop."""
    yield
    with django_db_blocker.unblock():
        connection.close()  # a test may have had it cut off
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
                " WHERE datname = current_database() AND pid <> pg_backend_pid()"
            )


@pytest.fixture
def business(db: None) -> Business:
    return BusinessFactory()


@pytest.fixture
def owner(business: Business) -> User:
    return UserFactory(username="maren", role="owner")


@pytest.fixture
def office(business: Business) -> User:
    return UserFactory(username="office", role="office")


@pytest.fixture
def crew(business: Business) -> User:
    return UserFactory(username="tern", role="crew")


@pytest.fixture
def as_user() -> Callable[[User], Client]:
    """A client signed in as somebody."""

    def sign_in(user: User) -> Client:
        client = Client()
        client.force_login(user)
        return client

    return sign_in


@pytest.fixture
def as_owner(owner: User, as_user: Callable[[User], Client]) -> Client:
    return as_user(owner)


@pytest.fixture(autouse=True)
def _empty_cache() -> None:
    cache.clear()


@pytest.fixture(autouse=True)
def _empty_dns(monkeypatch: pytest.MonkeyPatch) -> None:
    """The suite may not reach the network: DNS knows no name unless a test says so."""
    monkeypatch.setattr("clients.views.domain.ask", lambda name, kind: [])
