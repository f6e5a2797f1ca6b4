"""What the client keeps of a job: what went on, when it may be walked on, how to look after it,
when it is next due."""

from collections.abc import Iterator
from dataclasses import dataclass

from django.utils.translation import get_language, gettext, ngettext
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.messaging.models import Consent
from clients.notation import StrOrPromise
from jobs.day_words import say_season
from jobs.forecast_summary import ForecastSummary, forecast_summary_by_deck
from jobs.models import CoatApplied, Job, Photo, Product
from jobs.work.care_times import CareNote, care_note
from jobs.work.cautions import GENERAL_CAUTION, SELF_HEATING_CLASSES, WorkFacts
from jobs.work.drawn_signature import drawn_image_url

# Common practice, no source; the data sheet of the product goes before it, and the record says so.
CARE_ADVICE = [
    _(
        "Sweep leaves and dirt off, above all between the boards: what stays wet there wears the"
        " finish first."
    ),
    _("Put pots and furniture on feet, and move them now and then; lift rugs after rain."),
    _("Wash with water, a mild soap and a soft broom, along the grain. No bleach."),
    _("Clear snow with a plastic shovel along the boards; no salt and no metal edges."),
    _("Put nothing else on it: another product may not hold, and then only a strip helps."),
]
DUE_ADVICE = _(
    "When water soaks in instead of beading, the deck is due. Tell us then; a recoat in time saves"
    " a strip."
)
WORN_ADVICE = _("When water soaks in instead of beading, the finish is worn.")
SOFT_TIMBER_ADVICE = _("Keep pressure washers away: a close jet furs and gouges this wood.")
HARD_TIMBER_ADVICE = _(
    "If you use a pressure washer, keep the pressure low, the nozzle well away and go along the"
    " grain."
)
FRESH_FINISH_CAUTION = _(
    "A fresh finish marks easily and is slippery. Keep people and pets off until the time above is"
    " over."
)
WET_BOARDS_CAUTION = _("Wet boards are slippery, in winter most of all.")
OILY_CLOTHS_CAUTION = _(
    "Cloths with this finish on them can heat up by themselves and burn. Should you touch up a"
    " spot: put them in water in a closed metal can, or dry them spread out flat outdoors."
)

BLEACH_CAUTION = _("Never use bleach together with an acid cleaner: they give off chlorine gas.")
HOME_ARSENIC_CAUTION = _(
    "Treated timber from before 2004 may hold arsenic: do not sand or burn it, use no bleach, and"
    " wash hands that touched it before eating."
)
HOME_LEAD_CAUTION = _("Old paint or film may hold lead: have it tested before anybody sands it.")
LOOSE_BOARD_CAUTION = _(
    "If a board, a stair or the railing gets soft or loose, keep off and tell us."
)


@dataclass(frozen=True)
class CareRecord:
    """One job as the client reads it; `care` is None if no finish went on, `forecast` if it is not
    the newest coat. Where we may not invite to the next work, `is_inviting` is False."""

    job: Job
    coats: list[CoatApplied]
    care: CareNote | None
    forecast: ForecastSummary | None
    photo: Photo | None
    is_inviting: bool = True

    @property
    def signature_url(self) -> str:
        """The image of what the client drew; empty if they only typed their name."""
        signed = getattr(self.job, "sign_off", None)
        return drawn_image_url(signed.drawn) if signed else ""

    @property
    def agreements(self) -> list[str]:
        """What the client agreed to with this signature: their copy of the words."""
        signed = getattr(self.job, "sign_off", None)
        if signed is None:
            return []
        given = Consent.objects.filter(
            client=self.job.deck.site.client_id,
            is_given=True,
            asked_where=Consent.AskedWhere.SIGN_OFF,
            recorded_at=signed.signed_at,
        )
        return list(given.order_by("pk").values_list("wording", flat=True))

    @property
    def next_due(self) -> str:
        """“spring 2029”: when the next coat is due, in a season in which crews work."""
        if self.forecast is None:
            return ""
        return say_season(self.forecast.due_on, is_south=self.job.deck.site.is_south)

    @property
    def file_name(self) -> str:
        """Of its PDF, in the language of the client."""
        with display.in_client_language(self.job.deck.site.client.language):
            return gettext("care-record-{day}.pdf").format(day=self.job.edtf)

    @property
    def finishes(self) -> list[CoatApplied]:
        return [coat for coat in self.coats if coat.is_finish]

    @property
    def advice(self) -> list[StrOrPromise]:
        return [
            *CARE_ADVICE[:2],
            SOFT_TIMBER_ADVICE if self.job.deck.is_jet_sensitive else HARD_TIMBER_ADVICE,
            *CARE_ADVICE[2:],
            DUE_ADVICE if self.is_inviting else WORN_ADVICE,
        ]

    @property
    def home_cautions(self) -> list[StrOrPromise]:
        """For those who look after the deck themselves, by its timber and the year it was built;
        of what nobody knows the crew is warned, not the client."""
        facts = WorkFacts(self.job.deck, self.job.kind, [])
        is_dated = self.job.deck.built_year is not None
        said = [
            (True, BLEACH_CAUTION),
            (is_dated and facts.may_hold_arsenic, HOME_ARSENIC_CAUTION),
            (is_dated and facts.may_hold_lead, HOME_LEAD_CAUTION),
            (True, LOOSE_BOARD_CAUTION),
        ]
        return [words for holds, words in said if holds]

    @property
    def cautions(self) -> list[StrOrPromise]:
        """For those who live there; the general rule last. What nobody knows may burn."""
        products = list(dict.fromkeys(coat.product for coat in self.finishes))
        burns = any(
            each is None
            or each.finish_class in SELF_HEATING_CLASSES
            or each.base == Product.Base.SOLVENT
            for each in products
        )
        language = get_language() or ""
        own = [
            gettext("{product}: {caution}").format(product=each.name, caution=words)
            for each in products
            if each and (words := each.cautions_in(language))
        ]
        said: list[StrOrPromise] = [
            FRESH_FINISH_CAUTION if self.care else "",
            WET_BOARDS_CAUTION,
            OILY_CLOTHS_CAUTION if burns else "",
            *self.home_cautions,
            *own,
            GENERAL_CAUTION,
        ]
        return [text for text in said if text]


def get_job_for_record(pk: int) -> Job | None:
    """The job with all that its record shows."""
    return (
        Job.objects.select_related("deck__site__client", "sign_off")
        .with_coats()
        .filter(pk=pk)
        .first()
    )


def build_care_record(job: Job) -> CareRecord:
    """From the job as logged and the forecast of its own coat."""
    with display.in_client_language(job.deck.site.client.language):  # the drawing has words in it
        told = forecast_summary_by_deck([job.deck_id], today=job.finished_on).get(job.deck_id)
    photo = Photo.objects.filter(job=job, moment=Photo.Moment.FINISHED).order_by("-id").first()
    own = told if told and told.coat_on == job.finished_on and job.starts_a_coat else None
    return CareRecord(job, list(job.coats_applied.all()), care_note(job), own, photo)


def care_record_summary(record: CareRecord) -> str:
    """The record as a few lines for the message that it goes with, in the language of its
    client."""
    with display.in_client_language(record.job.deck.site.client.language):
        return "\n".join(care_record_lines(record))


def care_record_lines(record: CareRecord) -> Iterator[str]:
    job = record.job
    yield f"{job.get_kind_display()}, {job.deck.label}, {job.day_words}."
    for coat in record.finishes:
        number = coat.coats or 0
        coats = ngettext("{count} coat", "{count} coats", number).format(count=number)
        said = [coat.product_words, coat.colour, coats if number else ""]
        yield ", ".join(filter(None, said)) + "."
    if record.care:
        walk = f"{display.format_day(record.care.walk_at.date())}{care_hour_suffix(record.care)}"
        yield display.end_once(gettext("Walk on it from {moment}.").format(moment=walk))
        yield gettext("Furniture back from {day}.").format(
            day=display.format_day(record.care.furniture_at.date())
        )
    if record.forecast:
        yield gettext("Best recoated in {season}.").format(season=record.next_due)


def care_hour_suffix(care: CareNote) -> str:
    return f", {display.format_clock(care.walk_at)}" if care.is_to_the_hour else ""
