"""Offers: what work is proposed on which decks at what price, each revision kept as it was sent."""

from collections.abc import Collection, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models import F, OuterRef, Q, Subquery
from django.db.models.functions import Coalesce, Now
from django.db.models.lookups import GreaterThan
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.messaging.models import Message
from clients.models import Client, Deck, Property, Surface, say_surfaces
from clients.notation import StrOrPromise
from jobs.models.offer_event import OfferEvent
from jobs.models.price import PriceList, money_field, percentage_field
from jobs.models.product import Product


class OfferQuerySet(models.QuerySet["Offer"]):
    def unanswered(self) -> "OfferQuerySet":
        """Drafts, and offers that were sent and not answered, run out or not."""
        return self.filter(state__in=[Offer.State.DRAFT, Offer.State.OPEN])

    def active(self, *, today: date) -> "OfferQuerySet":
        """A draft, an offer that still stands, or an accepted one whose work is not over."""
        over = Q(booking__state__in=["done", "cancelled"])
        return self.first_offers().filter(
            Q(state=Offer.State.DRAFT)
            | Q(state=Offer.State.OPEN, valid_until__gte=today)
            | (Q(state=Offer.State.ACCEPTED) & ~over)
        )

    def first_offers(self) -> "OfferQuerySet":
        """Without change orders, which add to another offer."""
        return self.filter(original=None)

    def needing_a_day(self) -> "OfferQuerySet":
        """Accepted, and nobody has booked the work; a change order goes with its offer."""
        return self.first_offers().filter(state=Offer.State.ACCEPTED, booking=None)

    def accepted_changes(self, offer: "Offer") -> "OfferQuerySet":
        """The change orders of an offer that were accepted, in their order."""
        return self.filter(original=offer, state=Offer.State.ACCEPTED).order_by("number")

    def expired(self, *, today: date) -> "OfferQuerySet":
        return self.filter(state=Offer.State.OPEN, valid_until__lt=today)

    def for_decks(self, deck_ids: Collection[int]) -> "OfferQuerySet":
        return self.filter(scopes__deck__in=deck_ids).distinct()

    def with_details(self) -> "OfferQuerySet":
        """With decks, lines, taxes and history, in a fixed number of queries."""
        events = OfferEvent.objects.select_related("by")
        scopes = OfferScope.objects.select_related("deck", "product")
        return self.select_related("client", "site", "price_list", "original").prefetch_related(
            "lines", "taxes", models.Prefetch("scopes", scopes), models.Prefetch("events", events)
        )

    def for_list(self) -> "OfferQuerySet":
        """With client, place and decks, without the long texts."""
        scopes = OfferScope.objects.select_related("deck").only(
            "offer", "work", "position", "deck__label"
        )
        rows = (
            self.with_question_flag()
            .select_related("client", "site")
            .defer("introduction", "waiting")
        )
        return rows.prefetch_related(models.Prefetch("scopes", scopes))

    def with_question_flag(self) -> "OfferQuerySet":
        """With `has_question`: the client asked something since the last answer."""
        said = OfferEvent.objects.filter(offer=OuterRef("pk")).order_by("-id").values("id")
        asked = Subquery(said.filter(kind=OfferEvent.Kind.ASKED)[:1])
        answered = Coalesce(Subquery(said.filter(kind=OfferEvent.Kind.ANSWERED)[:1]), 0)
        return self.annotate(has_question=Coalesce(GreaterThan(asked, answered), False))

    def with_open_question(self) -> "OfferQuerySet":
        """With a question that waits for an answer; looked for among those that had one."""
        asked = OfferEvent.objects.filter(kind=OfferEvent.Kind.ASKED).order_by().values("offer")
        return self.filter(pk__in=asked).with_question_flag().filter(has_question=True)  # type: ignore[misc]

    def in_state(self, state: str, *, today: date) -> "OfferQuerySet":
        """Of one state, those that ran out apart from the open ones;
        or all but the replaced ones."""
        if state == "expired":
            return self.expired(today=today)
        if state == "asked":
            return self.with_open_question()
        if state == Offer.State.OPEN:
            return self.filter(state=state, valid_until__gte=today)
        return self.filter(state=state) if state else self.exclude(state=Offer.State.REPLACED)

    def count_by_state(self, *, today: date) -> dict[str, int]:
        """How many of each state, of the open ones those that ran out apart as "expired";
        and "asked", of any state."""
        found = dict(self.order_by().values_list("state").annotate(offers=models.Count("pk")))
        over = self.expired(today=today).count()
        return found | {
            "asked": self.with_open_question().count(),
            "expired": over,
            Offer.State.OPEN: found.get(Offer.State.OPEN, 0) - over,
        }

    def hours_without_day(self) -> "list[tuple[date, Decimal]]":
        """Week that was chosen and hours of each accepted offer that nobody has booked."""
        waiting = self.needing_a_day().order_by()
        rows = waiting.values_list("accepted_week", "hours")
        return [(week, hours) for week, hours in rows if week]

    def revisions_of_sent(
        self, columns: Sequence[str], *, since: datetime
    ) -> "list[tuple[Any, ...]]":
        """These columns of every revision of the offers of which one was sent since that moment,
        revisions in order."""
        sent = Offer.objects.first_offers().filter(sent_at__gte=since).values("number")
        return list(
            self.filter(number__in=sent).order_by("number", "revision").values_list(*columns)
        )

    def matching(self, words: str) -> "OfferQuerySet":
        """The number, or words out of the client's name, the street or the town."""
        found = self
        for word in words.split():
            named = Q(client__name__icontains=word) | Q(site__street__icontains=word)
            named |= Q(site__town__icontains=word)
            number, _, revision = word.partition("-")
            if word.isascii() and number.isdigit() and len(number) < 10:
                of_revision = (
                    Q(revision=int(revision)) if revision.isdigit() and len(revision) < 5 else Q()
                )
                named |= Q(number=int(number)) & of_revision
            found = found.filter(named)
        return found


class Offer(models.Model):
    """One revision of an offer for one property;
    once sent its lines never change, a new revision takes its place."""

    class State(models.TextChoices):
        DRAFT = "draft", "Draft"
        OPEN = "open", "Sent, no answer yet"
        ACCEPTED = "accepted", "Accepted"
        DECLINED = "declined", "Declined"
        WITHDRAWN = "withdrawn", "Withdrawn"
        REPLACED = "replaced", "Replaced by a newer revision"

    class Decline(models.TextChoices):
        PRICE = "price", _("The price")
        LATER = "later", _("Not this year")
        SELF = "self", _("We do it ourselves")
        OTHER_FIRM = "other_firm", _("Somebody else does it")
        MOVED = "moved", _("The house is sold")
        OTHER = "other", _("Another reason")

    number = models.PositiveIntegerField()
    revision = models.PositiveSmallIntegerField(default=1)
    original = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="change_orders",
        help_text="The accepted offer that this one changes; empty for an offer by itself.",
    )
    client = models.ForeignKey(Client, on_delete=models.PROTECT, related_name="offers")
    site = models.ForeignKey(
        Property,
        on_delete=models.PROTECT,
        db_column="property_id",
        verbose_name="property",
        related_name="offers",
    )
    price_list = models.ForeignKey(PriceList, on_delete=models.PROTECT, related_name="offers")
    state = models.CharField(max_length=9, choices=State.choices, default=State.DRAFT)
    language = models.CharField(max_length=12, default="en")
    currency = models.CharField(max_length=3)
    tax_mode = models.CharField(max_length=9, choices=PriceList.TaxMode.choices)
    tax_rounding = models.CharField(max_length=5, choices=PriceList.Rounding.choices)
    net = money_field("before tax", default=0)
    tax = money_field("tax", default=0)
    total = money_field("to pay", default=0)
    hours = models.DecimalField("hours of work", max_digits=6, decimal_places=2, default=0)
    visits = models.PositiveSmallIntegerField(
        "days on site", default=0, help_text="0 where nobody said."
    )
    drafted_on = models.DateField()
    valid_until = models.DateField()
    introduction = models.TextField(blank=True, max_length=5_000)
    deposit_percent = percentage_field("deposit asked")
    deposit_amount = money_field("deposit asked", default=0)
    terms = models.JSONField(
        default=dict, help_text="What stood beside the price when it was sent: part and words."
    )
    waiting = models.JSONField(
        default=dict, help_text="What waiting would cost, as forecast when it was drafted."
    )
    token_hash = models.CharField(max_length=64, null=True, blank=True, unique=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    answered_at = models.DateTimeField(null=True, blank=True)
    answered_by = models.CharField(
        max_length=200, blank=True, help_text="The name typed with the answer."
    )
    accepted_week = models.DateField(
        null=True, blank=True, help_text="The Monday of the week that was chosen."
    )
    decline_reason = models.CharField(max_length=10, choices=Decline.choices, blank=True)
    decline_words = models.TextField(blank=True, max_length=2_000)
    withdrawn_why = models.CharField(max_length=300, blank=True)
    created_at = models.DateTimeField(db_default=Now())
    created_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )

    objects = OfferQuerySet.as_manager()

    class Meta:
        ordering = ["-number", "-revision"]
        indexes = [
            models.Index(fields=["state", "-number", "-revision"], name="offer_by_state"),
            models.Index(fields=["client", "-number"], name="offer_by_client"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["number", "revision"], name="offer_once_a_number_and_revision"
            ),
            models.UniqueConstraint(
                fields=["number"],
                condition=Q(state__in=["draft", "open", "accepted"]),
                name="one_living_revision",
            ),
            models.CheckConstraint(
                name="offer_state_known",
                condition=Q(
                    state__in=["draft", "open", "accepted", "declined", "withdrawn", "replaced"]
                ),
            ),
            models.CheckConstraint(name="offer_adds_up", condition=Q(total=F("net") + F("tax"))),
            models.CheckConstraint(
                name="offer_totals_not_negative",
                condition=Q(net__gte=0, tax__gte=0) | Q(original__isnull=False),
            ),
            models.CheckConstraint(
                name="offer_deposit_in_one_way",
                condition=Q(deposit_percent__gte=0, deposit_percent__lte=100, deposit_amount=0)
                | Q(deposit_percent=0, deposit_amount__gte=0),
            ),
            models.CheckConstraint(
                name="offer_valid_after_draft", condition=Q(valid_until__gte=F("drafted_on"))
            ),
            models.CheckConstraint(
                name="open_offer_was_sent", condition=~Q(state="open") | Q(sent_at__isnull=False)
            ),
            models.CheckConstraint(
                name="accepted_offer_has_a_week",
                condition=~Q(state="accepted")
                | Q(answered_at__isnull=False)
                & (Q(accepted_week__isnull=False) | Q(original__isnull=False)),
            ),
        ]

    def __str__(self) -> str:
        return f"Offer {self.reference}"

    @property
    def reference(self) -> str:
        """The number as the client reads it, such as 104 or 104-2."""
        return str(self.number) if self.revision == 1 else f"{self.number}-{self.revision}"

    @property
    def title(self) -> str:
        """“Offer 104”, or “Change 107 to offer 104”, in the language in force."""
        if self.original is None:
            return gettext("Offer {number}").format(number=self.reference)
        words = gettext("Change {number} to offer {first}")
        return words.format(number=self.reference, first=self.original.reference)

    def is_expired(self, *, today: date) -> bool:
        return self.state == self.State.OPEN and today > self.valid_until

    def in_client_language(self, words: StrOrPromise) -> str:
        """These words in the language of the offer."""
        with display.in_client_language(self.language):
            return str(words)

    @property
    def file_name(self) -> str:
        """Of its PDF, in the language of the offer."""
        return self.in_client_language(_("offer-{number}.pdf")).format(number=self.reference)

    def messages(self) -> models.QuerySet[Message]:
        """What was said to the client about this revision."""
        key = f"offer/{self.number}-{self.revision}/"
        return Message.objects.filter(client=self.client_id, idempotency_key__startswith=key)


class OfferScope(models.Model):
    """What is to be done on one deck, and why."""

    class Work(models.TextChoices):
        RECOAT = "recoat", _("Clean and recoat")
        STRIP = "strip", _("Strip and seal")

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="scopes")
    deck = models.ForeignKey(Deck, on_delete=models.PROTECT, related_name="offer_scopes")
    position = models.PositiveSmallIntegerField(default=1)
    work = models.CharField(max_length=6, choices=Work.choices)
    why = models.TextField(blank=True, help_text="In words a client understands.")
    stripper_applications = models.PositiveSmallIntegerField(default=0)
    coats = models.PositiveSmallIntegerField(default=2)
    surfaces = ArrayField(
        models.CharField(max_length=7, choices=Surface.choices),
        default=list,
        blank=True,
        help_text="What is worked on; none noted means all that the deck has.",
    )
    product = models.ForeignKey(
        Product, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    colour = models.CharField(max_length=80, blank=True)
    same_as_last = models.BooleanField(
        default=False, help_text="Same product and colour as on the deck now."
    )
    litres = models.DecimalField(max_digits=7, decimal_places=2, default=0)
    buying = models.JSONField(
        default=list, help_text="Products with litres, packs and cost, as worked out."
    )
    steps = models.JSONField(default=list, help_text="The steps of the work with their times.")
    hours = models.DecimalField(max_digits=6, decimal_places=2, default=0)
    window_opens_on = models.DateField(null=True, blank=True)
    due_on = models.DateField(null=True, blank=True)
    late_on = models.DateField(null=True, blank=True)
    recoat_total = money_field(null=True, blank=True)
    strip_total = money_field(
        null=True,
        blank=True,
        help_text="Where a look decides: what the deck alone costs either way, tax included.",
    )

    class Meta:
        ordering = ["offer_id", "position", "id"]
        constraints = [
            models.CheckConstraint(
                name="scope_look_names_both_prices",
                condition=Q(recoat_total=None, strip_total=None)
                | Q(recoat_total__isnull=False, strip_total__isnull=False, work="recoat"),
            ),
            models.UniqueConstraint(fields=["offer", "deck"], name="scope_once_a_deck"),
            models.CheckConstraint(
                name="scope_coats_positive", condition=Q(coats__gte=1, coats__lte=10)
            ),
            models.CheckConstraint(
                name="scope_strips_with_stripper",
                condition=Q(work="recoat", stripper_applications=0)
                | Q(work="strip", stripper_applications__gte=1, stripper_applications__lte=3),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_work_display()}, {self.deck}"

    @property
    def looks_first(self) -> bool:
        """Whether one of us looks at the boards before the work is planned."""
        return self.strip_total is not None

    @property
    def is_on_boards(self) -> bool:
        return not self.surfaces or Surface.BOARDS in self.surfaces

    @property
    def left_out(self) -> list[str]:
        """Surfaces that the deck has and the offer leaves for later."""
        return [name for name in self.deck.surfaces if self.surfaces and name not in self.surfaces]

    @property
    def left_out_words(self) -> str:
        return say_surfaces(self.left_out) if self.left_out else ""

    @property
    def is_sanded(self) -> bool:
        """Whether one of its steps is to sand."""
        return any(step.get("task") == "sand" for step in self.steps)

    @property
    def client_steps(self) -> list[dict[str, str]]:
        """Title, words and wait of each step as the client reads them;
        offers of old have one wording for everybody."""
        return [step.get("for_client", step) for step in self.steps]


class OfferLine(models.Model):
    """One line of an offer: quantity times price is its amount, rounded half up to the cent."""

    class Kind(models.TextChoices):
        WORK = "work", "Work"
        MATERIAL = "material", "Material"
        TRAVEL = "travel", "Travel"
        EXTRA = "extra", "Surcharge"
        LESS = "less", "Discount"

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="lines")
    scope = models.ForeignKey(
        OfferScope, null=True, blank=True, on_delete=models.CASCADE, related_name="lines"
    )
    position = models.PositiveSmallIntegerField()
    kind = models.CharField(max_length=8, choices=Kind.choices)
    words = models.CharField(max_length=300)
    quantity = models.DecimalField(max_digits=9, decimal_places=2)
    unit = models.CharField(max_length=12, blank=True)
    unit_price = models.DecimalField(max_digits=10, decimal_places=2)
    amount = money_field()
    taxes = models.JSONField(default=list, help_text="Names of the taxes on this line.")

    class Meta:
        ordering = ["offer_id", "position", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["offer", "position"], name="offer_line_once_a_position"
            ),
            models.CheckConstraint(name="offer_line_has_words", condition=~Q(words="")),
            models.CheckConstraint(
                name="offer_line_quantity_not_negative", condition=Q(quantity__gte=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.words}: {self.amount}"


class OfferTax(models.Model):
    """One tax of an offer, as frozen."""

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="taxes")
    position = models.PositiveSmallIntegerField(default=1)
    name = models.CharField(max_length=40)
    percent = models.DecimalField(max_digits=6, decimal_places=3)
    base = money_field("on")
    amount = money_field()

    class Meta:
        ordering = ["offer_id", "position"]
        constraints = [models.UniqueConstraint(fields=["offer", "name"], name="offer_tax_once")]

    def __str__(self) -> str:
        return f"{self.name}: {self.amount}"
