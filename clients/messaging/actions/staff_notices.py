"""Telling the people of the business: noted once a person and matter, mailed at most once.

It is no message of the outbox: that is for clients, with law and consent. What is handed to the
mail server is marked before it is handed over, so no second process and no second try sends it
again; only what was certainly not taken, as nobody answered, is tried again with the next tick. A
notice that cannot be mailed makes no notice. What is about a person's own account (a new device, a
changed password, a link that sets one) is urgent: it waits for no hour and no choice.
"""

import logging
import smtplib
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime, time

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import transaction
from django.db.models import Max
from django.dispatch import receiver

from clients.events import clients_left
from clients.messaging.channels import SenderIdentity, mail_connection
from clients.messaging.models import SendingRules, StaffNotice
from clients.messaging.quiet import Locality, NeverOpenError, first_allowed_moment
from clients.models import Business, Channel, Client, User
from clients.outward import ForbiddenAddressError
from clients.signing_in import invitation_path, new_password_path

MAX_IN_ONE_MAIL = 50
MAX_SUBJECT_CHARACTERS = 120
NOT_TAKEN = (
    ConnectionRefusedError,
    ForbiddenAddressError,
    smtplib.SMTPConnectError,
    smtplib.SMTPHeloError,
)
logger = logging.getLogger(__name__)


def announce_to_staff(*, key: str, words: str, url: str = "", now: datetime) -> int:
    """Note it for everybody who wants to hear of such things; the same key again changes nothing.
    For how many."""
    people = User.objects.filter(is_active=True, role__in=[User.Role.OWNER, User.Role.OFFICE])
    wanting = people.exclude(notices_by=User.Notices.NONE).exclude(email="")
    rows = [
        StaffNotice(user=person, key=key[:160], words=words[:500], url=url, made_at=now)
        for person in wanting
    ]
    StaffNotice.objects.bulk_create(rows, ignore_conflicts=True)
    return len(rows)


def announce_to_person(
    *, person: User, key: str, words: str, url: str = "", link: str = "", now: datetime
) -> bool:
    """Note something about the person's own account: mailed at once, whatever they chose to hear
    of. Whether there is an address to mail to; the same key again changes nothing."""
    if not person.email:
        return False
    row = StaffNotice(user=person, key=key[:160], words=words[:500], url=url, made_at=now)
    row.link = link
    row.is_urgent = True
    StaffNotice.objects.bulk_create([row], ignore_conflicts=True)
    return True


@receiver(clients_left)
def announce_clients_left(
    *, client_ids: Collection[int], words: str, now: datetime, **_signal: object
) -> None:
    """Who unsubscribes is named; who was put away by the business itself is not."""
    for client in Client.objects.current().filter(pk__in=client_ids):
        announce_to_staff(
            key=f"left/{client.pk}/{now:%Y-%m-%d}",
            words=f"{client.name}: {words}",
            url=f"/clients/{client.pk}/",
            now=now,
        )


def announce_lines_down(*, reasons: Mapping[str, str], now: datetime) -> None:
    """Once a day and channel; by mail it can leave only when mail goes again."""
    business = Business.objects.get()
    local = now.astimezone(business.zone)
    for channel, why in reasons.items():
        announce_to_staff(
            key=f"down/{channel}/{local:%Y-%m-%d}",
            words=f"{Channel(channel).label}: nothing could be sent at {local:%H:%M}. {why}",
            url="/outbox/",
            now=now,
        )


def mail_staff_notices(*, now: datetime) -> int:
    """Mail what waits: at once what is about a person's own account, the rest to each person as
    they chose, never in quiet times. How many mails."""
    business = Business.current()
    if business is None or not business.sender:
        return 0
    people = User.objects.filter(is_active=True).exclude(email="")
    alarmed = people.filter(notices__mailed_at=None, notices__is_urgent=True).distinct()
    urgent = sum(mail_notices_to(person, business, now, is_urgent=True) for person in alarmed)
    if is_quiet(business, now):
        return urgent
    waiting = people.filter(notices__mailed_at=None, notices__is_urgent=False).distinct()
    return urgent + sum(
        mail_notices_to(person, business, now)
        for person in waiting.exclude(notices_by=User.Notices.NONE)
        if is_time_to_mail(person, business, now)
    )


def is_quiet(business: Business, now: datetime) -> bool:
    """By the owner's own quiet times, at the business."""
    place = Locality(business.zone, business.country, business.region, business.town)
    rules = SendingRules.current()
    try:
        opens = first_allowed_moment(now, place=place, rules=rules)
    except NeverOpenError:
        return True
    return opens > now


def is_time_to_mail(person: User, business: Business, now: datetime) -> bool:
    """At once, or with the first tick of a day on which nothing was mailed yet."""
    if person.notices_by == User.Notices.AT_ONCE:
        return True
    chosen = person.notices.filter(is_urgent=False)
    last = chosen.aggregate(at=Max("mailed_at"))["at"]
    today = business.today(now)
    morning = datetime.combine(today, time(), business.zone)
    has_old = chosen.filter(mailed_at=None, made_at__lt=now).exists()
    return has_old and (last is None or last < morning)


def mail_notices_to(
    person: User, business: Business, now: datetime, *, is_urgent: bool = False
) -> bool:
    """One mail with all of that kind that waits for this person: marked first, then handed
    over."""
    notices = claim_notices(person, now, is_urgent=is_urgent)
    if not notices:
        return False
    try:
        notice_mail(person, notices, business).send()
    except NOT_TAKEN as error:
        logger.warning("Notices to %s wait for the mail server: %s", person, error)
        StaffNotice.objects.filter(pk__in=[each.pk for each in notices]).update(mailed_at=None)
        return False
    except (OSError, smtplib.SMTPException) as error:
        logger.warning("Notices to %s may not have arrived: %s", person, error)
    return True


@transaction.atomic
def claim_notices(person: User, now: datetime, *, is_urgent: bool) -> list[StaffNotice]:
    """Those that nobody has mailed; from now on they are."""
    rows = person.notices.filter(mailed_at=None, is_urgent=is_urgent).order_by("made_at", "pk")
    found = list(rows.select_for_update(skip_locked=True)[:MAX_IN_ONE_MAIL])
    StaffNotice.objects.filter(pk__in=[each.pk for each in found]).update(mailed_at=now)
    return found


def notice_mail(person: User, notices: Sequence[StaffNotice], business: Business) -> EmailMessage:
    lines = [f"{each.words}\n{settings.BASE_URL}{notice_path(each, person)}" for each in notices]
    end = (
        "If you did not expect this, tell the owner of the book."
        if notices[0].is_urgent
        else f"How you hear of this: {settings.BASE_URL}/settings/notices/"
    )
    first = " ".join(notices[0].words.split())[:MAX_SUBJECT_CHARACTERS]
    subject = first if len(notices) == 1 else f"{len(notices)} things to look at"
    return EmailMessage(
        subject=subject,
        body="\n\n".join([*lines, end]) + "\n",
        from_email=SenderIdentity.for_business(business).sender,
        to=[person.email],
        headers={"Auto-Submitted": "auto-generated"},
        connection=mail_connection(),
    )


def notice_path(notice: StaffNotice, person: User) -> str:
    """The page that it leads to. A link that sets a password is made when it is mailed, so the
    database never holds one."""
    if notice.link == StaffNotice.Link.INVITATION:
        return invitation_path(person)
    if notice.link == StaffNotice.Link.NEW_PASSWORD:
        return new_password_path(person)
    return notice.url or "/"
