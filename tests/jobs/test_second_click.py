"""Two people, or two taps, at the very same moment:
on real connections, since one transaction cannot race itself."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connections
from django.test import Client

from clients.models import User
from jobs.models import Batch, Job
from tests.factories import BusinessFactory, DeckFactory, ProductFactory, UserFactory
from tests.jobs.log_page import URL, filled, row

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def crew(transactional_db: None) -> User:
    BusinessFactory()
    return UserFactory(username="tern", role="crew")


def at_once(*actions: Callable[[], object]) -> list[object]:
    def then_close(action: Callable[[], object]) -> object:
        try:
            return action()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(actions)) as pool:
        return [
            future.result() for future in [pool.submit(then_close, action) for action in actions]
        ]


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def test_four_taps_at_once_log_one_job_and_all_lead_to_it(crew: User) -> None:
    page = filled(DeckFactory(), row(ProductFactory()))
    taps = [signed_in(crew) for _ in range(4)]

    answers = at_once(*[lambda tap=tap: tap.post(URL, page).url for tap in taps])

    assert answers == [f"/jobs/{Job.objects.get().pk}/"] * 4


def test_two_crews_that_open_the_same_new_batch_at_once_make_it_once(crew: User) -> None:
    oil = ProductFactory()
    pages = [
        filled(DeckFactory(), row(oil, batch=code)) for code in ("TW-900", "tw-900", "TW-900 ")
    ]

    crews = [(signed_in(crew), page) for page in pages]

    at_once(*[lambda tap=tap, page=page: tap.post(URL, page) for tap, page in crews])

    assert (Job.objects.count(), Batch.objects.count()) == (3, 1)
