"""How messages leave by other ways than e-mail, and what comes back:
gateway, letters, calls, events, to-dos."""

from django.conf import settings
from django.core.validators import MinValueValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Now

from clients.messaging.models.message import Message
from clients.models.client import Client


def plain_hook_fields() -> dict[str, str]:
    """Where a plain gateway puts what we read from its reports and answers; a dotted path each."""
    return {
        name: name for name in ("reference", "id", "event_id", "status", "error", "from", "text")
    }


class Attachment(models.Model):
    """A file that goes with a message, frozen with it."""

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="attachments")
    name = models.CharField(max_length=120)
    media_type = models.CharField(max_length=120, help_text="Such as application/pdf.")
    content = models.BinaryField()

    class Meta:
        ordering = ["message_id", "id"]

    def __str__(self) -> str:
        return self.name


class TextGateway(models.Model):
    """The HTTP gateway that text messages go through, described by data (a single row)."""

    class Auth(models.TextChoices):
        NONE = "none", "None"
        BASIC = "basic", "Name and password"
        BEARER = "bearer", "Bearer token"
        HEADER = "header", "A header of its own"

    class Body(models.TextChoices):
        JSON = "json", "JSON"
        FORM = "form", "Form fields"

    name = models.CharField(max_length=60, default="Gateway")
    url = models.URLField("address to post to")
    auth = models.CharField(max_length=6, choices=Auth.choices, default=Auth.NONE)
    auth_name = models.CharField("name or header", max_length=120, blank=True)
    auth_secret = models.CharField("password or token", max_length=500, blank=True)
    body = models.CharField(max_length=4, choices=Body.choices, default=Body.JSON)
    template = models.JSONField(
        help_text="Field names of the gateway → {to}, {from}, {text}, {reference}."
    )
    sender = models.CharField(
        "sent from", max_length=20, blank=True, help_text="A number that can be answered."
    )
    id_path = models.CharField(
        "where the answer holds the message's number", max_length=120, default="id"
    )
    refusals = models.JSONField(
        default=dict,
        blank=True,
        help_text="Error code of the gateway → for_good, for_now, opted_out.",
    )
    refusal_path = models.CharField(
        "where the answer holds an error code", max_length=120, default="error", blank=True
    )
    honours_reference = models.BooleanField("sends a repeated reference only once", default=False)
    look_up_url = models.CharField(
        "address to look a message up",
        max_length=300,
        blank=True,
        help_text="With {reference} in it.",
    )
    status_path = models.CharField(
        "where a look-up or status report holds the state", max_length=120, default="status"
    )
    statuses = models.JSONField(
        default=dict,
        blank=True,
        help_text="State of the gateway → delivered, failed, accepted, none.",
    )
    hook_fields = models.JSONField(
        "where reports and answers hold what we read",
        default=plain_hook_fields,
        blank=True,
        help_text=(
            "reference, id, event_id, status, error, from, text → path in what the gateway posts."
        ),
    )
    hook_hash = models.CharField(
        max_length=64, blank=True, help_text="Of the secret in the addresses of our hooks."
    )
    hook_key = models.CharField(
        "signing key", max_length=200, blank=True, help_text="HMAC-SHA256 of the body, if any."
    )
    hook_header = models.CharField("header with the signature", max_length=60, blank=True)
    part_price = models.DecimalField(
        "price of a part",
        max_digits=8,
        decimal_places=5,
        null=True,
        blank=True,
        validators=[MinValueValidator(0)],
        help_text="In the currency of the business.",
    )
    is_on = models.BooleanField("in use", default=False)

    class Meta:
        constraints = [
            models.CheckConstraint(name="text_gateway_is_one_row", condition=Q(id=1)),
            models.CheckConstraint(
                name="part_price_not_below_zero",
                condition=Q(part_price=None) | Q(part_price__gte=0),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def current(cls) -> "TextGateway | None":
        """The gateway in use, or None."""
        return cls.objects.filter(id=1, is_on=True).first()


class InboundEvent(models.Model):
    """What came in from outside (a status, an answer, a bounce), kept raw before anything is made
    of it."""

    source = models.CharField(max_length=20, help_text="text status, text inbound, bounce.")
    event_id = models.CharField(
        max_length=255, help_text="The far side's own, or a hash of the content."
    )
    received_at = models.DateTimeField(db_default=Now())
    raw = models.TextField()
    message = models.ForeignKey(
        Message, null=True, blank=True, on_delete=models.SET_NULL, related_name="inbound"
    )
    client = models.ForeignKey(
        Client, null=True, blank=True, on_delete=models.SET_NULL, related_name="inbound"
    )
    processed_at = models.DateTimeField(null=True, blank=True)
    outcome = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ["-received_at", "-id"]
        constraints = [
            models.UniqueConstraint(fields=["source", "event_id"], name="inbound_event_once")
        ]

    def __str__(self) -> str:
        return f"{self.source} {self.event_id}"


class LetterBatch(models.Model):
    """Letters printed together as one PDF; posted when a person says so."""

    made_at = models.DateTimeField(db_default=Now())
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    pdf_sha256 = models.CharField(max_length=64, blank=True)
    prints = models.PositiveSmallIntegerField(
        default=0, help_text="How often it was printed; more than one is a reprint."
    )
    posted_at = models.DateTimeField(null=True, blank=True)
    posted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        verbose_name_plural = "letter batches"
        ordering = ["-made_at", "-id"]

    def __str__(self) -> str:
        return f"Letters of {self.made_at:%Y-%m-%d}"


class BatchedLetter(models.Model):
    """One letter's place in its batch."""

    batch = models.ForeignKey(LetterBatch, on_delete=models.CASCADE, related_name="letters")
    message = models.OneToOneField(Message, on_delete=models.CASCADE, related_name="batched")
    position = models.PositiveIntegerField()
    apart = models.JSONField(
        default=dict,
        blank=True,
        help_text="Enclosures that the last print could not hold: number of the file → why.",
    )

    class Meta:
        ordering = ["batch_id", "position"]
        constraints = [
            models.UniqueConstraint(fields=["batch", "position"], name="letter_once_a_position")
        ]

    def __str__(self) -> str:
        return f"{self.batch}, {self.position}"


class CallNote(models.Model):
    """How one try to reach a client by telephone ended."""

    class Result(models.TextChoices):
        REACHED = "reached", "Spoke to them"
        LEFT_WORD = "left_word", "Left a message"
        NO_ANSWER = "no_answer", "No answer"
        WRONG = "wrong", "Wrong number"
        STOP = "stop", "Asked not to be called"

    message = models.ForeignKey(Message, on_delete=models.CASCADE, related_name="call_notes")
    at = models.DateTimeField(db_default=Now())
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    result = models.CharField(max_length=9, choices=Result.choices)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"{self.get_result_display()} at {self.at:%Y-%m-%d %H:%M}"


class ToDoQuerySet(models.QuerySet["ToDo"]):
    def open(self) -> "ToDoQuerySet":
        """Not yet settled."""
        return self.filter(done_at=None)


class ToDo(models.Model):
    """Something only a person can settle; it stays until somebody says it is done."""

    class Kind(models.TextChoices):
        ADDRESS = "address", "An address does not work"
        ANSWER = "answer", "A client answered"
        QUESTION = "question", "A client asked about an offer"
        BOOK = "book", "An accepted offer needs a day"

    kind = models.CharField(max_length=8, choices=Kind.choices)
    key = models.CharField(max_length=120, unique=True, help_text="The same matter makes one row.")
    client = models.ForeignKey(
        Client, null=True, blank=True, on_delete=models.CASCADE, related_name="to_dos"
    )
    message = models.ForeignKey(
        Message, null=True, blank=True, on_delete=models.SET_NULL, related_name="to_dos"
    )
    words = models.CharField(max_length=500)
    url = models.CharField(max_length=300, blank=True, help_text="The page on which it is settled.")
    made_at = models.DateTimeField(db_default=Now())
    done_at = models.DateTimeField(null=True, blank=True)
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    objects = ToDoQuerySet.as_manager()

    class Meta:
        ordering = ["-made_at", "-id"]
        indexes = [models.Index(fields=["-made_at"], name="to_do_open", condition=Q(done_at=None))]

    def __str__(self) -> str:
        return self.words
