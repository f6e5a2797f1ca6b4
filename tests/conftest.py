"""What nearly every test needs: the business, its people and a browser-like client signed in as one
of them."""

import gc
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from typing import Any

import freezegun
import hypothesis
import pytest
from django.conf import settings
from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.core.cache import cache
from django.db import connection
from django.template import Context
from django.template.base import Template
from django.test import Client, TransactionTestCase
from django.utils.crypto import get_random_string
from pytest_django.plugin import DjangoDbBlocker

# Its models are made of the types in their annotations: not of those of a stopped clock.
import restorer.api.answers  # noqa: F401
from clients.models import Business, User
from tests import database, rows, servers_zones
from tests.factories import BusinessFactory, UserFactory

BACKEND = "django.contrib.auth.backends.ModelBackend"
# To stop the clock, freezegun looks for clocks in every module there is. These many tell nobody our
# time.
CLOCKLESS = [
    *(
        "PIL",
        "autograd",
        "fontTools",
        "formulaic",
        "h5py",
        "jinja2",
        "lifelines",
        "narwhals",
        "numpy",
        "openpyxl",
    ),
    *(
        "pandas",
        "phonenumbers",
        "playwright",
        "pvlib",
        "pypdf",
        "scipy",
        "statsmodels",
        "weasyprint",
    ),
    *("_pytest", "anyio", "dns", "httpcore", "httpx", "patsy", "pluggy", "pyasn1", "pydantic"),
    *("pygments", "rapidfuzz", "requests", "rich", "schemathesis", "sqlparse", "urllib3", "wrapt"),
    *("OpenSSL", "boto3", "botocore", "cryptography", "flask", "google", "moto", "opentelemetry"),
    *("responses", "s3transfer", "storages", "werkzeug", "yaml"),
]
freezegun.configure(extend_ignore_list=CLOCKLESS)
# It asks each module again whether it has changed; by the number of its names rather than by all of
# them.
freezegun.api._get_module_attributes_hash = lambda module: (
    f"{id(module)}-{len(getattr(module, '__dict__', ()))}"
)
# No test is timed: a machine may be busy. The fast part tries fewer examples where a test says
# nothing else.
BUSY = {"deadline": None, "suppress_health_check": [hypothesis.HealthCheck.too_slow]}
hypothesis.settings.register_profile("whole", **BUSY)
hypothesis.settings.register_profile("fast", **BUSY, max_examples=20)


def pytest_configure(config: pytest.Config) -> None:
    """The fast part tries fewer examples; the whole suite as many as Hypothesis thinks right."""
    hypothesis.settings.load_profile("fast" if "not slow" in config.option.markexpr else "whole")


@pytest.fixture(scope="session", autouse=True)
def _servers_zones_decide_nothing() -> None:
    servers_zones.refuse()


def pytest_collection_finish() -> None:
    """What is there now stays: the garbage collector need not look at it again, and need not come
    so often."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)


@pytest.fixture(scope="session", autouse=True)
def _pages_only(django_test_environment: None) -> None:
    """Tests ask what a page was made of, never its parts:
    Django's record of each option of each list is left out."""
    recorded = Template._render  # type: ignore[attr-defined] # Django gives it no other name

    def render(template: Template, context: Context) -> str:
        is_page = context.template is template and not (template.name or "").startswith(
            "django/forms/"
        )
        return recorded(template, context) if is_page else template.nodelist.render(context)

    Template._render = render  # type: ignore[attr-defined] # as above


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings: None, django_db_blocker: DjangoDbBlocker
) -> None:
    with django_db_blocker.unblock():
        connection.settings_dict["TEST"]["TEMPLATE"] = database.migrated()


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """A thread of the live server or a killed sender may hold a connection a moment too long:
    end them, then drop."""
    case: Any = TransactionTestCase  # the stubs do not know what it empties tables by
    case._fixture_teardown = database.empty
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
    """A client signed in as somebody, by the row that signing in leaves behind."""

    def sign_in(user: User) -> Client:
        client = Client()
        key = get_random_string(32)
        who = {
            SESSION_KEY: str(user.pk),
            HASH_SESSION_KEY: user.get_session_auth_hash(),
            BACKEND_SESSION_KEY: BACKEND,
        }
        data = SessionStore().encode(who)
        Session.objects.create(
            session_key=key, session_data=data, expire_date=datetime(2100, 1, 1, tzinfo=UTC)
        )
        client.cookies[settings.SESSION_COOKIE_NAME] = key
        return client

    return sign_in


@pytest.fixture
def as_owner(owner: User, as_user: Callable[[User], Client]) -> Client:
    return as_user(owner)


@pytest.fixture
def with_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """What builders make in this test can be searched for."""
    monkeypatch.setattr(rows, "with_words", True)


@pytest.fixture(autouse=True)
def _empty_cache() -> None:
    cache.clear()


@pytest.fixture(autouse=True)
def _empty_dns(monkeypatch: pytest.MonkeyPatch) -> None:
    """The suite may not reach the network: DNS knows no name unless a test says so."""
    monkeypatch.setattr("clients.messaging.views.sending_domain.dns_query", lambda name, kind: [])
