"""Actions on the business and its people:
the first visit, settings, and who may sign in as what."""

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from clients.actions.saving import (
    SECOND_CLICK_WINDOW,
    NameTakenError,
    lock_row,
    lock_until_commit,
    save_if_changed,
)
from clients.actions.second_steps import announce_change
from clients.events import decks_changed
from clients.messaging.actions.staff_notices import announce_to_person
from clients.messaging.models import StaffNotice
from clients.models import Business, Deck, LocalNormals, User
from clients.signing_in import is_link_good

LINK_EVERY_SECONDS = 900
INVITATION_WORDS = (
    "You are invited to the book of {business}. Your sign-in name is {username}. Set your password"
    " here within 7 days of this mail:"
)
SET_ANOTHER_WORDS = (
    "Set a new password for {username} in the book of {business}, within one hour of this mail:"
)
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
def add_person(
    *, username: str, name: str, role: str, password: str, email: str = "", now: datetime
) -> User:
    """A new account; without a password an invitation goes out. A second click finds what the
    first one made. Raises `NameTakenError`."""
    lock_until_commit(f"person {username.casefold()}")
    if there := User.objects.filter(username__iexact=username).first():
        is_same = (there.username, there.first_name, there.role) == (username, name, role)
        if is_same and there.date_joined > now - SECOND_CLICK_WINDOW:
            return there
        raise NameTakenError(USERNAME_TAKEN, "username")
    person = User(username=username, first_name=name, role=role, email=email)
    person.date_joined = now
    person.set_password(password or None)
    person.save()
    if not password:
        send_password_link(person=person, now=now)
    return person


@transaction.atomic
def change_person(*, person: User, name: str, role: str, email: str, is_active: bool) -> User:
    """Change name, role, address or whether they may sign in. People are never deleted:
    what they did keeps their name."""
    lock_until_commit("owners")
    person = lock_row(person)
    stays_owner = role == User.Role.OWNER and is_active
    if is_owner(person) and not stays_owner and not other_owners(person):
        raise LastOwnerError("This is the last owner. Make somebody else an owner first.")
    values = {"first_name": name, "role": role, "email": email, "is_active": is_active}
    save_if_changed(person, values)
    return person


def is_owner(person: User) -> bool:
    return person.role == User.Role.OWNER and person.is_active


def other_owners(person: User) -> bool:
    return User.objects.filter(role=User.Role.OWNER, is_active=True).exclude(pk=person.pk).exists()


@transaction.atomic
def change_user_password(*, person: User, password: str, now: datetime) -> None:
    """Sessions opened with the old password end by themselves; the person hears of it."""
    person.set_password(password)
    person.save(update_fields=["password"])
    announce_change(person=person, words="Your password was changed.", now=now)


@transaction.atomic
def set_password_by_link(*, person: User, token: str, password: str, now: datetime) -> bool:
    """Whether the link was still good; of two at once the second finds it used."""
    row = lock_row(person)
    if not row.is_active or not is_link_good(row, token):
        return False
    change_user_password(person=row, password=password, now=now)
    return True


def send_password_link(*, person: User, now: datetime) -> bool:
    """Mail an invitation to who has no password yet, else a link to set a new one; one in a quarter
    of an hour. Whether there is an address to mail to."""
    is_invited = not person.has_usable_password()
    link = StaffNotice.Link.INVITATION if is_invited else StaffNotice.Link.NEW_PASSWORD
    return announce_to_person(
        person=person,
        key=f"{link}/{int(now.timestamp() // LINK_EVERY_SECONDS)}",
        words=(INVITATION_WORDS if is_invited else SET_ANOTHER_WORDS).format(
            business=Business.objects.get(), username=person.username
        ),
        link=link,
        now=now,
    )


@transaction.atomic
def send_forgotten_password(*, who: str, now: datetime) -> int:
    """To whoever has this sign-in name or address, and may sign in. To how many."""
    people = User.objects.filter(is_active=True).filter(
        Q(username__iexact=who) | Q(email__iexact=who)
    )
    return sum(send_password_link(person=person, now=now) for person in people)


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
