"""The outbox: everything that is to be, or ever was, said to a client, and each step it took."""

from datetime import datetime

from django.conf import settings
from django.db import models
from django.db.models import Exists, Q
from django.db.models.functions import Coalesce, Now

from clients.messaging.models.consent import Consent
from clients.messaging.models.gateway import TextGateway
from clients.messaging.models.sending import Sending
from clients.models import (
    Business,
    Channel,
    ChannelTraits,
    Client,
    channels_with,
    traits_of,
)


class State(models.TextChoices):
    """Where a message stands; see docs/owner.md, "What the states mean"."""

    QUEUED = "queued", "Queued"
    CLAIMED = "claimed", "Sending"
    TRANSMITTING = "transmitting", "Sending"
    ACCEPTED = "accepted", "Sent"
    DELIVERED = "delivered", "Delivered"
    BOUNCED = "bounced", "Bounced"
    UNCONFIRMED = "unconfirmed", "Unconfirmed"
    FAILED = "failed", "Refused"
    CANCELLED = "cancelled", "Cancelled"


MARKETING_MESSAGE_KINDS = ("reminder", "offer")
NEVER_SENT_STATES = (State.CANCELLED, State.FAILED, State.BOUNCED)
UNRESOLVED_STATES = (State.UNCONFIRMED, State.FAILED, State.BOUNCED)  # a person decides


class MessageQuerySet(models.QuerySet["Message"]):
    def open(self) -> "MessageQuerySet":
        """Not yet handed over, and still meant to be."""
        return self.filter(state__in=[State.QUEUED, State.CLAIMED, State.TRANSMITTING])

    def due(self, channel: str) -> "MessageQuerySet":
        """May be claimed now, by the database's clock; nothing while the book is held."""
        rows = self.filter(channel=channel, state=State.QUEUED, held_at=None, not_before__lte=Now())
        return rows.exclude(Exists(Business.objects.filter(sending_held_at__isnull=False)))

    def waiting_since(self, moment: datetime) -> "MessageQuerySet":
        """Could have gone out by then and has not.
        Letters and calls wait for people, not for a machine."""
        return self.open().filter(
            channel__in=channels_with("machine"), held_at=None, not_before__lt=moment
        )

    def through_gateway(self) -> "MessageQuerySet":
        """Those that the text message gateway takes, reports on and charges for."""
        return self.filter(channel__in=channels_with("through_gateway"))

    def marketing_since(self, moment: datetime) -> "MessageQuerySet":
        """Reminders and offers that went, or will go, after that moment, with `when`:
        the rule of days between messages counts them."""
        kept = self.filter(kind__in=MARKETING_MESSAGE_KINDS).exclude(state__in=NEVER_SENT_STATES)
        when = Coalesce("accepted_at", "not_before")
        return kept.annotate(when=when).filter(when__gte=moment)

    def open_at(self, gateway: TextGateway | None, *, since: datetime) -> "MessageQuerySet":
        """Of those that moved since then, the ones to ask the gateway about: unconfirmed, and if it
        cannot post reports to us also accepted."""
        if gateway is None or not gateway.look_up_url:
            return self.none()
        states = [State.UNCONFIRMED] if gateway.hook_hash else [State.UNCONFIRMED, State.ACCEPTED]
        rows = self.through_gateway().filter(state__in=states, events__at__gte=since)
        return rows.distinct().order_by("pk")

    def needing_a_person(self) -> "MessageQuerySet":
        return self.filter(state__in=UNRESOLVED_STATES)

    def for_list(self) -> "MessageQuerySet":
        """With the client, without the texts."""
        return self.select_related("client").defer("text", "html")

    def in_state(self, state: str) -> "MessageQuerySet":
        """Of one state, or all."""
        return self.filter(state=state) if state else self

    def matching(self, words: str) -> "MessageQuerySet":
        """The words are part of the client's name or of the address."""
        return (
            self.filter(Q(client__name__icontains=words) | Q(address__icontains=words))
            if words
            else self
        )

    def count_by_state(self) -> dict[str, int]:
        return dict(self.order_by().values_list("state").annotate(models.Count("pk")))


class Message(models.Model):
    """One message to one recipient by one channel, its text frozen when it was queued."""

    class Kind(models.TextChoices):
        REMINDER = "reminder", "Reminder"
        OFFER = "offer", "Offer"
        SERVICE = "service", "About work booked or done"

    # A message moves three times in a second; an index that nobody needs would be written each
    # time. Hence unique constraints instead of unique=True (which adds a pattern index), and no
    # index of its own on some foreign keys.
    client = models.ForeignKey(
        Client, on_delete=models.PROTECT, related_name="messages", db_index=False
    )
    kind = models.CharField(max_length=10, choices=Kind.choices)
    channel = models.CharField(max_length=6, choices=Channel.choices)
    idempotency_key = models.CharField(max_length=200)
    address = models.CharField(
        max_length=254, help_text="E-mail address, number or postal address, as frozen."
    )
    subject = models.CharField(max_length=300, blank=True)
    text = models.TextField()
    html = models.TextField(blank=True)
    language = models.CharField(max_length=12, default="en")
    consent = models.ForeignKey(
        Consent, null=True, blank=True, on_delete=models.SET_NULL, db_index=False
    )
    basis = models.CharField(
        max_length=40, blank=True, help_text="Why writing was allowed, as frozen."
    )
    law = models.CharField(
        max_length=60, blank=True, help_text="The law rule that was applied, and its date."
    )
    unsubscribe_hash = models.CharField(  # noqa: DJ001 - unique where set
        max_length=64, null=True, blank=True
    )
    message_id = models.CharField(max_length=255)

    sending = models.ForeignKey(
        Sending,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="messages",
        db_index=False,
        help_text="The press with which a person sent it.",
    )

    state = models.CharField(max_length=12, choices=State.choices, default=State.QUEUED)
    queued_at = models.DateTimeField(db_default=Now())
    queued_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, db_index=False
    )
    not_before = models.DateTimeField(db_default=Now())
    expires_at = models.DateTimeField(null=True, blank=True)
    held_at = models.DateTimeField(
        null=True, blank=True, help_text="Held back by a person until released."
    )
    lease_token = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    accepted_at = models.DateTimeField(null=True, blank=True)
    reply = models.CharField(
        max_length=500, blank=True, help_text="The last answer of the other side."
    )
    provider_id = models.CharField(max_length=200, blank=True)

    objects = MessageQuerySet.as_manager()

    class Meta:
        ordering = ["-queued_at", "-id"]
        indexes = [
            models.Index(
                fields=["channel", "not_before", "id"],
                name="message_due_to_go",
                condition=Q(state="queued", held_at=None),
            ),
            models.Index(
                fields=["lease_until"],
                name="message_with_a_lease",
                condition=Q(state__in=["claimed", "transmitting"]),
            ),
            models.Index(fields=["client", "-queued_at"], name="message_by_client"),
            models.Index(fields=["state", "-queued_at"], name="message_by_state"),
            models.Index(fields=["sending"], name="message_by_press", condition=~Q(sending=None)),
            models.Index(
                fields=["provider_id"], name="message_by_far_number", condition=~Q(provider_id="")
            ),
        ]
        constraints = [
            models.UniqueConstraint(fields=["idempotency_key"], name="message_once_a_key"),
            models.UniqueConstraint(fields=["message_id"], name="message_id_once"),
            models.UniqueConstraint(
                fields=["unsubscribe_hash"], name="message_once_an_unsubscribe_link"
            ),
            models.CheckConstraint(name="message_state_known", condition=Q(state__in=State.values)),
            models.CheckConstraint(
                name="message_channel_known", condition=Q(channel__in=Channel.values)
            ),
            models.CheckConstraint(name="message_has_an_address", condition=~Q(address="")),
            models.CheckConstraint(
                name="message_subject_on_one_line",
                condition=~Q(subject__contains="\n") & ~Q(subject__contains="\r"),
            ),
            models.CheckConstraint(
                name="message_leased_when_moving",
                condition=Q(
                    state__in=["claimed", "transmitting"],
                    lease_token__isnull=False,
                    lease_until__isnull=False,
                )
                | (
                    ~Q(state__in=["claimed", "transmitting"])
                    & Q(lease_token=None, lease_until=None)
                ),
            ),
            models.CheckConstraint(
                name="message_accepted_has_a_time",
                condition=~Q(state__in=["accepted", "delivered"]) | Q(accepted_at__isnull=False),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} to {self.address}"

    @property
    def traits(self) -> ChannelTraits:
        return traits_of(self.channel)


class MessageEvent(models.Model):
    """A step a message took: append-only, written in the same transaction as the step."""

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="events")
    at = models.DateTimeField(db_default=Now())
    state = models.CharField(max_length=12, choices=State.choices)
    note = models.CharField(max_length=500, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, db_index=False
    )

    class Meta:
        ordering = ["at", "id"]

    def __str__(self) -> str:
        return f"{self.get_state_display()} at {self.at:%Y-%m-%d %H:%M}"
