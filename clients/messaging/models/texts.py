"""What is said and when it may be said:
editable texts, quiet times, and the owner's own law rules."""

from datetime import time

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from clients.models import Channel


class MessageText(models.Model):
    """The owner's own wording of one message;
    without a row the wording that comes with the program is used."""

    class Purpose(models.TextChoices):
        FIRST = "first", "First reminder"
        OVERDUE = "overdue", "Overdue reminder"
        SECOND = "second", "Second reminder"
        LAST = "last", "Last reminder"
        OFFER = "offer", "Offer"
        BOOKED = "booked", "Visit booked"
        MOVED = "moved", "Visit moved"
        HELD = "held", "Visit postponed for the weather"
        CALLED_OFF = "called_off", "Visit cancelled"
        ON_THE_WAY = "on_the_way", "On our way"
        CARE = "care", "Care record"
        RECALL = "recall", "Notice about a product"
        PLAN = "plan", "Care plan, week chosen"
        DEFECTS = "defects", "Defects of a deck"

    purpose = models.CharField(max_length=10, choices=Purpose.choices)
    channel = models.CharField(max_length=6, choices=Channel.choices)
    language = models.CharField(max_length=12)
    subject = models.CharField(max_length=300, blank=True)
    body = models.TextField(max_length=20_000)
    changed_at = models.DateTimeField(db_default=Now())
    changed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    class Meta:
        ordering = ["purpose", "channel", "language"]
        constraints = [
            models.UniqueConstraint(fields=["purpose", "channel", "language"], name="text_once"),
            models.CheckConstraint(name="text_has_a_body", condition=~Q(body="")),
            models.CheckConstraint(
                name="text_subject_on_one_line",
                condition=~Q(subject__contains="\n") & ~Q(subject__contains="\r"),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_purpose_display()}, {self.get_channel_display()}, {self.language}"


class SendingRules(models.Model):
    """When and how often clients are written to, stricter than the law if the owner likes (a single
    row)."""

    quiet_from = models.TimeField(
        "no text messages from", default=time(20), help_text="Time at the property."
    )
    quiet_until = models.TimeField("until", default=time(9))
    on_sundays = models.BooleanField("text messages on Sundays", default=False)
    on_holidays = models.BooleanField("text messages on public holidays", default=False)
    most_messages = models.PositiveSmallIntegerField(
        "at most so many reminders and offers a client", default=4
    )
    most_days = models.PositiveSmallIntegerField("in so many days", default=90)
    days_between = models.PositiveSmallIntegerField("days between two of them", default=7)
    take_back_minutes = models.PositiveSmallIntegerField(
        "minutes in which what somebody sent can be taken back",
        default=10,
        help_text="So long it waits before it leaves; 0 sends at once.",
    )
    unconfirmed_hours = models.PositiveSmallIntegerField(
        "offer another channel for an unconfirmed message after, hours", default=48
    )

    class Meta:
        verbose_name_plural = "sending rules"
        constraints = [
            models.CheckConstraint(name="sending_rules_are_one_row", condition=Q(id=1)),
            models.CheckConstraint(
                name="take_back_within_a_day", condition=Q(take_back_minutes__lte=1440)
            ),
            models.CheckConstraint(
                name="sending_caps_positive", condition=Q(most_messages__gte=1, most_days__gte=1)
            ),
        ]

    def __str__(self) -> str:
        return f"at most {self.most_messages} in {self.most_days} days"

    @classmethod
    def current(cls) -> "SendingRules":
        """The row, or the defaults while nobody has changed them."""
        return cls.objects.filter(id=1).first() or cls(id=1)


class LawRule(models.Model):
    """A rule that the owner entered over the table that comes with the program, from a day on."""

    jurisdiction = models.CharField(max_length=8, help_text="Country letters, or DEFAULT.")
    medium = models.CharField(max_length=6, choices=Channel.choices)
    valid_from = models.DateField()
    rules = models.JSONField()
    source = models.CharField(max_length=500)
    checked_on = models.DateField()
    created_at = models.DateTimeField(db_default=Now())
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    class Meta:
        ordering = ["jurisdiction", "medium", "-valid_from"]
        constraints = [
            models.UniqueConstraint(
                fields=["jurisdiction", "medium", "valid_from"], name="law_rule_once_a_day"
            ),
            models.CheckConstraint(name="law_rule_has_a_source", condition=~Q(source="")),
        ]

    def __str__(self) -> str:
        return f"{self.jurisdiction} {self.medium} from {self.valid_from}"
