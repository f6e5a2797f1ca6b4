"""Jobs of work, the coats they left behind and the photographs."""

import uuid
from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.conf import settings
from django.contrib.postgres.fields import ArrayField
from django.db import connection, models
from django.db.models import Count, Exists, F, OuterRef, Q, Sum
from django.db.models.functions import Least, Now, TruncMonth
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from clients.models import Deck, Surface, say_surfaces
from jobs.day_words import say_coats, say_span
from jobs.models.product import Batch, Product
from jobs.models.visit import Visit
from jobs.partial_dates import EARLIEST_JOB_DAY, DaySpan

STRIP_ABOVE_COATS = 6  # coat build above which the next job is a strip (common practice, no source)
MAX_LAST_USED = 3  # batches and colours that stand beside the fields
MAX_ROWS_LOOKED_AT = 300  # of what went on last; some weeks of two crews

# The first possible day lies in the month of the last.
KNOWN_TO_A_MONTH = Q(finished_from=None) | Q(finished_from__gte=TruncMonth("finished_on"))

COAT_BUILD_SQL = """
SELECT wanted.deck_id, build.coats
FROM unnest(%(decks)s::bigint[]) AS wanted (deck_id)
CROSS JOIN LATERAL jobs_coat_build(wanted.deck_id, %(day)s, %(job)s) AS build
"""


class JobQuerySet(models.QuerySet["Job"]):
    def coating(self) -> "JobQuerySet":
        """Jobs that started the life of a new coat."""
        return self.filter(kind__in=[Job.Kind.STRIP, Job.Kind.RECOAT])

    def newest_first(self) -> "JobQuerySet":
        return self.order_by("-finished_on", "-id")

    def coat_build_by_deck(
        self, deck_ids: Collection[int], *, before: "tuple[date, int] | None" = None
    ) -> dict[int, int]:
        """Coats since the last strip of each of these decks, in one query;
        0 where nothing was logged.

        `before` is a day and the number of a job: only what came earlier than that counts.
        """
        day, job = before or (date.max, 0)
        with connection.cursor() as cursor:
            cursor.execute(COAT_BUILD_SQL, {"decks": list(set(deck_ids)), "day": day, "job": job})
            return dict(cursor.fetchall())

    def done_between(self, first: date, until: date) -> "JobQuerySet":
        """Finished from a day on and before another; of a span its last day counts."""
        return self.filter(finished_on__gte=first, finished_on__lt=until)

    def without_booking(self) -> "JobQuerySet":
        """Logged without having stood in the diary."""
        return self.filter(bookings=None)

    def known_to_a_month(self) -> "JobQuerySet":
        """Finished in a month that is known, to the day or not."""
        return self.filter(KNOWN_TO_A_MONTH)

    def not_known_to_a_month(self) -> "JobQuerySet":
        """Of which only the season or the year is known."""
        return self.exclude(KNOWN_TO_A_MONTH)

    def not_paid_before(self, day: date) -> "JobQuerySet":
        """Finished before that day and not marked as paid."""
        return self.filter(finished_on__lt=day, settled_on=None)

    def in_other_currency(self, currency: str) -> "JobQuerySet":
        """Charged, but not in this currency."""
        return self.exclude(amount=None).exclude(currency=currency)

    def totals_by_month(self, currency: str) -> "list[tuple[date, str, int, int, Decimal | None]]":
        """Month, kind, how many jobs, how many without a price, and what was charged in this
        currency; jobs not known to a month are left out."""
        rows = self.known_to_a_month().order_by().values_list(TruncMonth("finished_on"), "kind")
        counted = rows.annotate(
            jobs_done=Count("pk"),
            unpriced=Count("pk", filter=Q(amount=None)),
            charged=Sum("amount", filter=Q(currency=currency)),
        )
        return list(counted)

    def coats_by_month(self) -> "list[tuple[date, bool, int]]":
        """Month, whether the deck had a coat before, and on how many decks one was laid."""
        earlier = Job.objects.coating().filter(
            deck=OuterRef("deck"), finished_on__lt=OuterRef("finished_on")
        )
        rows = self.coating().known_to_a_month().annotate(is_renewed=Exists(earlier)).order_by()
        return list(
            rows.values_list(TruncMonth("finished_on"), "is_renewed").annotate(
                decks=Count("deck", distinct=True)
            )
        )

    def moments_archived(self, *, since: datetime) -> "list[datetime]":
        """When each coated deck was archived, or its client was, if that was since then."""
        first = Least("deck__archived_at", "deck__site__client__archived_at")
        archived = Deck.objects.exclude(archived_at=None).order_by()
        left = Deck.objects.filter(site__client__archived_at__isnull=False).order_by()
        theirs = self.coating().filter(deck__in=archived.values("pk").union(left.values("pk")))
        gone = theirs.order_by().values_list("deck_id").annotate(archived=first)
        return [moment for _, moment in gone.filter(archived__gte=since).distinct()]

    def before(self, job: "Job") -> "JobQuerySet":
        """Earlier jobs on the same deck."""
        earlier = Q(finished_on__lt=job.finished_on) | Q(finished_on=job.finished_on, id__lt=job.pk)
        return self.filter(earlier, deck=job.deck_id)

    def weather_of_day(self, day: date, crew: str) -> dict[str, Any]:
        """What this crew wrote down at its newest job of the day; empty if nothing."""
        rows = self.filter(finished_on=day, finished_from=None, crew=crew).order_by("-pk")
        columns = ("air_c", "humidity_percent", "sky")
        found = rows.exclude(air_c=None, humidity_percent=None, sky="").values(*columns).first()
        return dict(found or {})

    def with_coats(self) -> "JobQuerySet":
        """With what went on, in two queries however many jobs."""
        coats = CoatApplied.objects.select_related("product", "batch").order_by("position", "id")
        return self.prefetch_related(models.Prefetch("coats_applied", coats))

    def last_with_coats(self, deck: Deck) -> "Job | None":
        """The newest job of a deck on which something was put."""
        return (
            self.filter(deck=deck, coats_applied__isnull=False).with_coats().newest_first().first()
        )


class Job(models.Model):
    """One finished job of work on one deck."""

    class Kind(models.TextChoices):
        STRIP = "strip", _("Strip and seal")
        RECOAT = "recoat", _("Clean and recoat")
        CLEAN = "clean", _("Clean only")
        REPAIR = "repair", _("Repair")

    class Sky(models.TextChoices):
        SUN = "sun", "Sunny"
        CLOUD = "cloud", "Cloudy"
        SHADE = "shade", "Worked in shade"
        DAMP = "damp", "Damp or foggy"

    deck = models.ForeignKey(Deck, on_delete=models.PROTECT, related_name="jobs")
    visit = models.OneToOneField(
        Visit, null=True, blank=True, on_delete=models.SET_NULL, related_name="job"
    )
    kind = models.CharField(max_length=6, choices=Kind.choices)
    finished_from = models.DateField(
        "first possible day",
        null=True,
        blank=True,
        help_text="Where only the month, season or year is known; empty where the day is.",
    )
    finished_on = models.DateField(help_text="The day, or the last possible one.")
    crew = models.CharField(max_length=120, blank=True, help_text="Who did the work.")
    air_c = models.DecimalField(
        "air temperature", max_digits=4, decimal_places=1, null=True, blank=True
    )
    humidity_percent = models.PositiveSmallIntegerField("humidity", null=True, blank=True)
    sky = models.CharField(max_length=6, choices=Sky.choices, blank=True)
    amount = models.DecimalField(
        "price charged", max_digits=10, decimal_places=2, null=True, blank=True
    )
    currency = models.CharField(max_length=3, blank=True)
    settled_on = models.DateField(
        null=True, blank=True, help_text="Somebody said that nothing is open any more."
    )
    is_unpaid = models.BooleanField(
        default=False,
        db_default=False,
        help_text="Known to be open. A job of a list, or of before this mark, is neither.",
    )
    notes = models.TextField(blank=True, max_length=20_000)
    form_key = models.UUIDField(
        default=uuid.uuid4, unique=True, editable=False, help_text="A second click adds nothing."
    )
    source = models.CharField(
        max_length=120, blank=True, help_text="The file and row it was imported from."
    )
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.SET_NULL
    )
    created_at = models.DateTimeField(db_default=Now())

    objects = JobQuerySet.as_manager()
    removal_reason = ""  # set by the action that removes a job, for the audit trail

    class Meta:
        ordering = ["-finished_on", "-id"]
        indexes = [
            models.Index(fields=["deck", "-finished_on", "-id"], name="job_by_deck"),
            models.Index(fields=["-finished_on", "-id"], name="job_newest_first"),
            models.Index(fields=["-is_unpaid", "-finished_on", "-id"], name="job_in_ledger"),
        ]
        constraints = [
            models.CheckConstraint(
                name="job_kind_known", condition=Q(kind__in=["strip", "recoat", "clean", "repair"])
            ),
            models.CheckConstraint(
                name="job_humidity_is_a_share",
                condition=Q(humidity_percent=None) | Q(humidity_percent__lte=100),
            ),
            models.CheckConstraint(
                name="job_amount_not_negative", condition=Q(amount=None) | Q(amount__gte=0)
            ),
            models.CheckConstraint(
                name="job_amount_has_a_currency",
                condition=Q(amount=None) | Q(currency__regex=r"^[A-Z]{3}$"),
            ),
            models.CheckConstraint(
                name="job_unpaid_is_not_settled",
                condition=Q(is_unpaid=False) | Q(settled_on=None),
            ),
            models.CheckConstraint(
                name="job_in_living_memory", condition=Q(finished_on__gte=EARLIEST_JOB_DAY)
            ),
            models.CheckConstraint(
                name="job_span_begins_before_it_ends",
                condition=Q(finished_from=None)
                | Q(finished_from__gte=EARLIEST_JOB_DAY, finished_from__lt=F("finished_on")),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} of {self.deck} on {self.edtf}"

    @property
    def span(self) -> DaySpan:
        """The days on which it may have been finished."""
        return DaySpan(self.finished_from or self.finished_on, self.finished_on)

    @property
    def day_words(self) -> str:
        """The day as people say it: “Jun 12, 2025”, “March 2023”, “spring 2021”, “2019”."""
        return say_span(self.span, is_south=self.is_south)

    @property
    def edtf(self) -> str:
        """The day for machines, as ISO 8601-2:2019 writes it: `2025-06-12`, `2023-03`, `2021-21`,
        `2019`."""
        return self.span.edtf(is_south=self.is_south)

    @property
    def is_south(self) -> bool:
        """Whether its seasons are those of the south; not asked where the day is known."""
        return self.finished_from is not None and self.deck.site.is_south

    @property
    def payment(self) -> str:
        """`paid`, `open`, or empty where nobody said."""
        if self.settled_on:
            return "paid"
        return "open" if self.is_unpaid else ""

    @property
    def before_and_after(self) -> "list[tuple[Photo, Photo]]":
        """Its photographs as found, each beside one of the finished deck, in the order in which
        they were added."""
        found, finished = (
            sorted(
                (photo for photo in self.photos.all() if photo.moment == moment),
                key=lambda photo: photo.pk,
            )
            for moment in (Photo.Moment.FOUND, Photo.Moment.FINISHED)
        )
        return list(zip(found, finished, strict=False))

    @property
    def photos_alone(self) -> "list[Photo]":
        """Those that stand beside no other."""
        beside = {photo for pair in self.before_and_after for photo in pair}
        return [photo for photo in self.photos.all() if photo not in beside]

    @property
    def missing_photo_moments(self) -> "list[Photo.Moment]":
        """Before and after, as far as no photo shows it, of a strip or recoat that was logged here;
        a list that was brought in has none."""
        if not self.starts_a_coat or self.source:
            return []
        there = {photo.moment for photo in self.photos.all()}
        wanted = [Photo.Moment.FOUND, Photo.Moment.FINISHED]
        return [moment for moment in wanted if moment not in there]

    @property
    def starts_a_coat(self) -> bool:
        return self.kind in {self.Kind.STRIP, self.Kind.RECOAT}

    @property
    def is_on_boards(self) -> bool:
        """Whether the work was on the boards: by its finishes, else by all its products, and so it
        was where no product is noted. The view `jobs_coat` goes by the same rule."""
        rows = list(self.coats_applied.all())
        told = [coat for coat in rows if coat.is_finish] or rows
        return not told or any(coat.is_on_boards for coat in told)

    @property
    def finished_surfaces(self) -> set[str]:
        """On which a finish went; for rows that are at hand."""
        return {
            name for coat in self.coats_applied.all() if coat.is_finish for name in coat.surfaces
        }

    def get_additional_data(self) -> dict[str, str] | None:
        """What the audit trail keeps beside the changed fields."""
        return {"why": self.removal_reason} if self.removal_reason else None


@dataclass(frozen=True)
class AppliedFinish:
    """A finish that a job left on the deck; `product` is empty where nobody knows it."""

    product: str
    colour: str


@dataclass(frozen=True)
class LastUsed:
    """Of one product the batches and colours of the last jobs, newest first, each once."""

    batches: list[str] = field(default_factory=list)
    colours: list[str] = field(default_factory=list)

    def note(self, batch: str | None, colour: str) -> None:
        for words, there in ((batch, self.batches), (colour, self.colours)):
            if words and words not in there and len(there) < MAX_LAST_USED:
                there.append(words)


class CoatAppliedQuerySet(models.QuerySet["CoatApplied"]):
    def last_used(self, *, first_of: int) -> dict[int, LastUsed]:
        """By product what went on in the newest jobs: those that this person logged go first."""
        columns = ("job__recorded_by", "product", "batch__code", "colour")
        known = self.exclude(product=None).order_by("-job__finished_on", "-job__id")
        rows = list(known.values_list(*columns)[:MAX_ROWS_LOOKED_AT])
        found: dict[int, LastUsed] = {}
        for row in sorted(rows, key=lambda row: row[0] != first_of):
            found.setdefault(row[1], LastUsed()).note(row[2], row[3])
        return found

    def finishes(self) -> "CoatAppliedQuerySet":
        """Rows of finishes, those whose product nobody knows among them."""
        return self.filter(Q(product=None) | Q(product__kind=Product.Kind.FINISH))

    def finishes_by_job(self, job_ids: Collection[int]) -> dict[int, list[AppliedFinish]]:
        """The finishes that went on in each of these jobs."""
        found: dict[int, list[AppliedFinish]] = {}
        rows = self.finishes().filter(job__in=job_ids).order_by("job_id", "position")
        for job_id, product, colour in rows.values_list("job_id", "product__name", "colour"):
            found.setdefault(job_id, []).append(AppliedFinish(product or "", colour))
        return found

    def done_between(self, first: date | None, last: date | None) -> "CoatAppliedQuerySet":
        """Of jobs that may have been finished on one of these days; None is open."""
        rows = self
        if first:
            rows = rows.filter(job__finished_on__gte=first)
        if last:
            began = Q(job__finished_from=None, job__finished_on__lte=last)
            rows = rows.filter(began | Q(job__finished_from__lte=last))
        return rows

    def with_owners(self) -> "CoatAppliedQuerySet":
        """Newest first, with the deck, the client and how to reach them."""
        rows = self.select_related("job__deck__site__client", "product", "batch")
        return rows.prefetch_related("job__deck__site__client__contact_points").order_by(
            "-job__finished_on", "-id"
        )


def boards_alone() -> list[str]:
    return [Surface.BOARDS.value]


class CoatApplied(models.Model):
    """One product that went on in a job: which, from which batch, how much and in how many
    coats.

    Without a product it is a finish that nobody knows by name; without a number of coats, nobody
    counted them."""

    job = models.ForeignKey(Job, on_delete=models.CASCADE, related_name="coats_applied")
    position = models.PositiveSmallIntegerField(default=1)
    product = models.ForeignKey(
        Product, null=True, blank=True, on_delete=models.PROTECT, related_name="coats_applied"
    )
    batch = models.ForeignKey(
        Batch, null=True, blank=True, on_delete=models.PROTECT, related_name="coats_applied"
    )
    colour = models.CharField(max_length=80, blank=True)
    surfaces = ArrayField(
        models.CharField(max_length=7, choices=Surface.choices),
        default=boards_alone,
        help_text="What of the deck it went on, the boards first.",
    )
    coats = models.PositiveSmallIntegerField(default=1, null=True, blank=True)
    litres = models.DecimalField(max_digits=7, decimal_places=2, null=True, blank=True)

    objects = CoatAppliedQuerySet.as_manager()

    class Meta:
        verbose_name_plural = "coats applied"
        ordering = ["job_id", "position", "id"]
        indexes = [
            models.Index(
                fields=["job"],
                condition=~Q(surfaces__contains=["boards"]),
                name="coat_elsewhere_by_job",
            ),
            models.Index(
                fields=["job"],
                condition=~Q(surfaces=["boards"]),
                name="coat_beyond_boards_by_job",
            ),
        ]
        constraints = [
            models.UniqueConstraint(fields=["job", "position"], name="coat_position_once_a_job"),
            models.CheckConstraint(
                name="coats_from_1_to_10",
                condition=Q(coats=None) | Q(coats__gte=1, coats__lte=10),
            ),
            models.CheckConstraint(
                name="coat_is_on_known_surfaces",
                condition=Q(surfaces__contained_by=Surface.values) & ~Q(surfaces=[]),
            ),
            models.CheckConstraint(
                name="coat_batch_is_of_a_product", condition=Q(batch=None) | ~Q(product=None)
            ),
            models.CheckConstraint(
                name="coat_litres_positive", condition=Q(litres=None) | Q(litres__gt=0)
            ),
        ]

    def __str__(self) -> str:
        return f"{self.product_words} × {self.coats or '?'}"

    @property
    def product_words(self) -> str:
        """The name of the product, or that it is not known."""
        return self.product.name if self.product else gettext("Product not known")

    @property
    def coats_words(self) -> str:
        """“2 coats”, or that nobody counted them."""
        return say_coats(self.coats)

    @property
    def surfaces_words(self) -> str:
        """“Deck boards, railing”, or “Everything”."""
        return gettext("Everything") if len(self.surfaces) == 4 else say_surfaces(self.surfaces)

    @property
    def is_on_boards(self) -> bool:
        return Surface.BOARDS in self.surfaces

    @property
    def is_finish(self) -> bool:
        """Whether it protects the deck; what nobody knows by name is taken for the finish."""
        return self.product is None or self.product.kind == Product.Kind.FINISH

    def spread_m2_per_l(self, area_m2: Decimal | None) -> Decimal | None:
        """Measured spread rate a coat, if area, coats and litres are known."""
        if not (area_m2 and self.coats and self.litres):
            return None
        return area_m2 * self.coats / self.litres


class Photo(models.Model):
    """A photograph of a deck, shrunk and freed of location data when it was stored."""

    class Moment(models.TextChoices):
        FOUND = "found", "As found"
        DURING = "during", "During the work"
        FINISHED = "finished", "Finished"

    deck = models.ForeignKey(Deck, on_delete=models.CASCADE, related_name="photos")
    job = models.ForeignKey(
        Job, null=True, blank=True, on_delete=models.SET_NULL, related_name="photos"
    )
    defect = models.ForeignKey(
        "jobs.Defect", null=True, blank=True, on_delete=models.SET_NULL, related_name="photos"
    )
    moment = models.CharField(max_length=8, choices=Moment.choices, default=Moment.FINISHED)
    image = models.ImageField(upload_to="decks/%Y/%m/", width_field="width", height_field="height")
    width = models.PositiveIntegerField(editable=False, default=0)
    height = models.PositiveIntegerField(editable=False, default=0)
    caption = models.CharField(max_length=200, blank=True)
    content_hash = models.CharField(
        max_length=64,
        blank=True,
        editable=False,
        help_text="SHA-256 of the file as it was sent, in hexadecimal; empty if that is not known.",
    )
    shows_people = models.BooleanField(
        "somebody can be recognised",
        default=False,
        help_text="Then it goes when the owner of the deck is erased.",
    )
    taken_on = models.DateField()
    created_at = models.DateTimeField(db_default=Now())

    class Meta:
        ordering = ["-taken_on", "-id"]
        constraints = [
            models.UniqueConstraint(
                fields=["job", "content_hash"],
                condition=~Q(content_hash=""),
                name="photo_once_a_job",
            )
        ]

    def __str__(self) -> str:
        return self.caption or f"{self.get_moment_display()}, {self.taken_on}"
