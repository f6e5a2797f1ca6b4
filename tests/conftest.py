"""What nearly every test needs: the business, its people and a browser-like client signed in as one of them."""

from collections.abc import Callable

import pytest
from django.core.cache import cache
from django.test import Client

from clients.models import Business, User
from tests.factories import BusinessFactory, UserFactory


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
