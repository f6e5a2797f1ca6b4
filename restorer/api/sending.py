"""What programs may send: reminders of the due list, by the rules of the pages."""

from dataclasses import asdict
from datetime import date, datetime
from typing import Any

from django.http import HttpRequest, HttpResponse

from clients.models import Deck
from reminders.actions import RemindResult, messages_with_reminders, queue_reminders
from reminders.months import shift_months
from reminders.steps import ReminderRequest
from restorer.api import answers, inputs
from restorer.api.problems import Mistake, MistakesError
from restorer.api.reading import router
from restorer.api.repeating import IdempotencyKey, answer_once, token_of
from restorer.api.tokens import may_send


@router.post(
    "/reminders",
    auth=may_send,
    response={201: answers.RemindersOut},
    url_name="reminders",
    tags=["send"],
)
def queue_chosen_reminders(
    request: HttpRequest, body: inputs.RemindersIn, key: IdempotencyKey
) -> HttpResponse:
    """One message a client about those of these decks that are due for a word by the end of the
    month. They wait in the outbox, where a person can take them back for a while."""
    until = shift_months(date.fromisoformat(f"{body.month}-01"), 1)

    def write(now: datetime) -> answers.RemindersOut:
        refuse_unknown_decks(body.deck_ids)
        asked = ReminderRequest(until, sorted(set(body.deck_ids)), at_once=body.at_once)
        made = queue_reminders(asked=asked, by=token_of(request).made_by, now=now)
        return answers.RemindersOut.model_validate(reminders_row(made))

    return answer_once(request, key, body, write)


def refuse_unknown_decks(deck_ids: list[int]) -> None:
    known = set(Deck.objects.filter(pk__in=deck_ids).values_list("pk", flat=True))
    found = [
        Mistake(f"/deck_ids/{place}", f"There is no deck with the number {pk}.")
        for place, pk in enumerate(deck_ids)
        if pk not in known
    ]
    if found:
        raise MistakesError(found)


def reminders_row(made: RemindResult) -> dict[str, Any]:
    queued = [
        {
            "message_id": message.pk,
            "client_id": message.client_id,
            "client": message.client.name,
            "channel": message.channel,
            "address": message.address,
            "step": reminders[0].step,
            "goes_at": message.not_before,
            "deck_ids": [reminder.deck_id for reminder in reminders],
            "decks": [reminder.deck.label for reminder in reminders],
            "subject": message.subject,
        }
        for message, reminders in messages_with_reminders(made.queued)
    ]
    return {"queued": queued, "left_out": [asdict(each) for each in made.left_out]}
