"""Actions on the business and its people:
the first visit, settings, and who may sign in as what."""

from datetime import datetime
from typing import Any

from django.db import transaction

from clients.actions.saving import (
    SECOND_CLICK_WINDOW,
    NameTakenError,
    lock_row,
    lock_until_commit,
    save_if_changed,
)
from clients.events import decks_changed
from clients.models import Business, Deck, LocalNormals, User

USERNAME_TAKEN = "Somebody has this sign-in name already. Choose another."


class BusinessExistsError(Exception):
    """There is a business in this book already."""


class LastOwnerError(ValueError):
    """Somebody must stay who may change settings; the message says so."""


@transaction.atomic
def open_business(*, values: dict[str, Any], username: str, name: str, password: str) -> User:
    """Make the business and its owner's account;
    of two at once one is told that it came too late."""
    lock_until_commit("first visit")
    if Business.objects.exists():
        raise BusinessExistsError
    Business.objects.create(id=1, **values)
    owner = User(username=username, first_name=name, role=User.Role.OWNER)
    owner.set_password(password)
    owner.save()
    return owner


@transaction.atomic
def add_person(*, username: str, name: str, role: str, password: str, now: datetime) -> User:
    """A new account; a second click finds what the first one made. Raises `NameTakenError`."""
    lock_until_commit(f"person {username.casefold()}")
    if there := User.objects.filter(username__iexact=username).first():
        is_same = (there.username, there.first_name, there.role) == (username, name, role)
        if is_same and there.date_joined > now - SECOND_CLICK_WINDOW:
            return there
        raise NameTakenError(USERNAME_TAKEN, "username")
    person = User(username=username, first_name=name, role=role)
    person.date_joined = now
    person.set_password(password)
    person.save()
    return person


@transaction.atomic
def change_person(*, person: User, name: str, role: str, is_active: bool) -> User:
    """Change name, role or whether they may sign in. People are never deleted:
    what they did keeps their name."""
    lock_until_commit("owners")
    person = lock_row(person)
    stays_owner = role == User.Role.OWNER and is_active
    if is_owner(person) and not stays_owner and not other_owners(person):
        raise LastOwnerError("This is the last owner. Make somebody else an owner first.")
    person.first_name = name
    person.role = role
    person.is_active = is_active
    person.save(update_fields=["first_name", "role", "is_active"])
    return person


def is_owner(person: User) -> bool:
    return person.role == User.Role.OWNER and person.is_active


def other_owners(person: User) -> bool:
    return User.objects.filter(role=User.Role.OWNER, is_active=True).exclude(pk=person.pk).exists()


@transaction.atomic
def change_user_password(*, person: User, password: str) -> None:
    """Sessions opened with the old password end by themselves."""
    person.set_password(password)
    person.save(update_fields=["password"])


@transaction.atomic
def change_business(*, business: Business, values: dict[str, Any], now: datetime) -> Business:
    business = lock_row(business)
    save_if_changed(business, {**values, "updated_at": now})
    return business


@transaction.atomic
def save_local_normals(
    *, normals: LocalNormals | None, values: dict[str, Any], now: datetime
) -> LocalNormals:
    """What the owner knows about the wet days of a town;
    the forecasts of the decks there follow."""
    row = lock_row(normals) if normals else LocalNormals()
    save_if_changed(row, values)
    here = Deck.objects.filter(
        site__town=row.town, site__region=row.region, site__country=row.country
    )
    decks_changed.send(Deck, deck_ids=list(here.values_list("pk", flat=True)), now=now)
    return row
