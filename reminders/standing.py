"""Where reminding about a coat stands: said already, not yet, or not possible and why; for a whole list at once."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from clients import display, suppression
from clients.models import Business, Client, Consent
from clients.models.channel import Channel
from clients.models.message import State
from clients.outbox.permission import WORDS, address_for, why_no_address, why_no_consent
from reminders.models import Reminder


@dataclass(frozen=True)
class Standing:
    """A word for the list, the class of its chip, and whether a reminder can still be sent."""

    word: str
    chip: str
    is_open: bool = False
    message_id: int | None = None


NOT_YET = Standing("Not reminded yet", "is-quiet", is_open=True)


def standings(
    owners: Mapping[int, int], *, today: date, channel: str = Channel.EMAIL, step: int = 1
) -> dict[int, Standing]:
    """For each job that left a coat (job → client): where the reminder of that step stands."""
    said = reminders_of(owners, channel=channel, step=step)
    refused = refusals({client for job, client in owners.items() if job not in said}, channel=channel, today=today)
    return {
        job: said.get(job) or (Standing(refused[client], "is-caution") if client in refused else NOT_YET)
        for job, client in owners.items()
    }


def reminders_of(job_ids: Collection[int], *, channel: str, step: int) -> dict[int, Standing]:
    """The reminders that exist."""
    rows = Reminder.objects.filter(job__in=list(job_ids), channel=channel, step=step).order_by()
    columns = rows.values_list("job_id", "message_id", "message__state", "message__queued_at", "message__accepted_at")
    return {
        job: Standing(said(state, timezone.localdate(accepted_at or queued_at)), f"is-{state}", message_id=message)
        for job, message, state, queued_at, accepted_at in columns
    }


def said(state: str, on: date) -> str:
    """“Accepted 3 Mar 2027”: how far the reminder got and when."""
    return f"Reminder {State(state).label.lower()} {display.day(on)}"


def refusals(client_ids: Collection[int], *, channel: str, today: date) -> dict[int, str]:
    """Clients who may not be written to and why: the rule of `clients.outbox`, in four queries for any number."""
    clients = Client.objects.filter(pk__in=client_ids).prefetch_related("contact_points", "properties")
    newest = Consent.objects.filter(client__in=client_ids, channel=channel).order_by("client_id", "-recorded_at", "-id")
    consents = {consent.client_id: consent for consent in newest.distinct("client_id")}
    addresses = {client.pk: address_for(client, channel) for client in clients}
    silent = suppression.suppressed(
        business=Business.objects.get(), channel=channel, addresses=[each for each in addresses.values() if each]
    )
    reasons = {
        client.pk: refusal(client, consents.get(client.pk), addresses[client.pk], silent, channel, today)
        for client in clients
    }
    return {client: why for client, why in reasons.items() if why}


def refusal(
    client: Client, consent: Consent | None, address: str, silent: Collection[str], channel: str, today: date
) -> str:
    """Why this client may not be written to; empty if it is allowed. In the order of `contactable`."""
    if client.archived_at:
        return WORDS["archived"]
    if consent is None or not consent.is_in_force(today=today):
        return why_no_consent(consent)
    if not address:
        return why_no_address(client, channel)
    return WORDS["suppressed"] if address in silent else ""
