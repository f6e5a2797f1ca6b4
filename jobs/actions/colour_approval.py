"""Keep that a client approved a colour."""

from datetime import date

from django.db import transaction

from clients.actions.saving import lock_until_commit
from clients.models import Deck, User
from jobs.actions.jobs import check_work_date
from jobs.models import ColourApproval, Product


@transaction.atomic
def approve_colour(
    *, deck: Deck, finish: tuple[Product, str], name: str, day: date, by: User | None, today: date
) -> ColourApproval:
    """Once: the same again is only found. Raises `JobError`."""
    lock_until_commit(f"colour of deck {deck.pk}")
    check_work_date(day, today, "approved_on")
    product, colour = finish
    row, _ = ColourApproval.objects.get_or_create(
        deck=deck,
        product=product,
        colour=colour,
        approved_by=name.strip(),
        approved_on=day,
        defaults={"recorded_by": by},
    )
    return row
