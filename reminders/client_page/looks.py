"""What the client sees on their deck: three answers and a photograph become a graded check, which
the forecast reads with its own doubt."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.db import transaction

from clients import display
from clients.models import Business, Deck
from jobs.actions import record_visit
from jobs.models import Photo, Visit
from jobs.photos import keep_small_copy
from reminders.client_page.answers import add_answer_to_do, keep_answer, open_link
from reminders.client_page.page import Kind
from reminders.models import ClientAnswer, ClientLink, Forecast

if TYPE_CHECKING:
    from django.core.files.base import ContentFile

# Of each question: answer → as-found grade in the sense of ISO 4628-1 (judgement).
LOOK_GRADES: dict[str, dict[str, int]] = {
    "beading": {"beads": 0, "slowly": 2, "soaks": 4},
    "greying": {"no": 0, "places": 2, "all": 4},
    "flaking": {"no": 0, "places": 3, "many": 4},
}
LOOK_WORDS = {
    "beading": {
        "beads": "water beads",
        "slowly": "water soaks in slowly",
        "soaks": "water soaks in at once",
    },
    "greying": {"no": "not grey", "places": "grey in places", "all": "grey all over"},
    "flaking": {"no": "nothing peels", "places": "peels in places", "many": "peels a lot"},
}
FRESH_FOR = timedelta(days=30)  # so long an answer is not asked for again


@dataclass(frozen=True)
class ClientLook:
    """The answer to each question of `LOOK_GRADES`, and a photograph if there is one."""

    answers: Mapping[str, str]
    photo: "ContentFile[bytes] | None" = None

    @property
    def words(self) -> str:
        """For the office: “water soaks in at once, grey all over, nothing peels”."""
        return ", ".join(LOOK_WORDS[name][answer] for name, answer in self.answers.items())

    @property
    def grades(self) -> dict[str, int]:
        return {name: LOOK_GRADES[name][answer] for name, answer in self.answers.items()}


@transaction.atomic
def record_client_look(
    *, link: ClientLink, deck: Deck, look: ClientLook, now: datetime
) -> ClientAnswer:
    """Keep the answers as a check by the client, refresh the forecast of the deck and tell a
    person. Sent again within a month it changes nothing."""
    row, _newest = open_link(link, Kind.CHECK)
    if there := fresh_look(row, deck.pk, now):
        return there
    due_before = due_day(deck)
    business = Business.objects.get()
    answer = keep_answer(row, Kind.CHECK, {"deck": deck.pk, **look.answers}, now)
    day = business.today(now)
    findings = {
        **look.grades,
        "reason": Visit.Reason.ROUTINE,
        "observer": Visit.Observer.CLIENT,
        "found_by": row.message.client.name[:120],
    }
    record_visit(deck=deck, visited_on=day, findings=findings, by=None, now=now)
    if look.photo:
        photo = Photo.objects.create(
            deck=deck, moment=Photo.Moment.FOUND, image=look.photo, taken_on=day, created_at=now
        )
        keep_small_copy(photo.image.name or "")
    words = f"{row.message.client.name} looked at {deck}: {look.words}."
    moved = f"Due {display.format_month(due_before)} before, now " if due_before else "Now due "
    due_on = due_day(deck)
    told = f"{moved}{display.format_month(due_on)}." if due_on else ""
    add_answer_to_do(answer, f"{words} {told}", f"/decks/{deck.pk}/", now)
    return answer


def due_day(deck: Deck) -> date | None:
    return Forecast.objects.filter(deck=deck).values_list("due_on", flat=True).first()


def fresh_look(link: ClientLink, deck_id: int, now: datetime) -> ClientAnswer | None:
    """What was answered about this deck within the month."""
    recent = link.answers.live().filter(kind=Kind.CHECK, at__gt=now - FRESH_FOR)
    return recent.filter(given__deck=deck_id).first()
