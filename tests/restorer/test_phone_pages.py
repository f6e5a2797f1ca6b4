"""The pages that a phone keeps to be read without a signal."""

from decimal import Decimal

from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from clients.models import Business
from jobs.models import BookingDay
from tests.factories import CrewFactory, DeckFactory
from tests.jobs.diary_days import book_visit


def test_without_a_signal_a_booking_of_two_days_is_listed_once(
    as_owner: Browser, business: Business
) -> None:
    Business.objects.update(season_months=list(range(1, 13)))
    business.refresh_from_db()
    now = timezone.now()
    deck = DeckFactory()
    booking = book_visit(
        site=deck.site,
        decks=[deck],
        hours=Decimal(14),
        first_day=business.today(now),
        crew=CrewFactory(hours_a_day=Decimal(8), works_on=list(range(7))),
        on_any_day=True,
        now=now,
    )
    assert BookingDay.objects.filter(booking=booking).count() == 2

    page = as_owner.get(reverse("phone_offline")).content.decode()

    assert page.count(f'href="{reverse("diary:booking", args=[booking.pk])}"') == 1
