"""What the client keeps of a job: what went on, when it may be walked on, how to look after it, when it is next due."""

from collections.abc import Iterator
from dataclasses import dataclass

from clients import display
from jobs.care import CareNote, care_note
from jobs.cautions import LAST, RAG_CLASSES
from jobs.foretold import Foretold, foretold
from jobs.models import CoatApplied, Job, Photo, Product

# Common practice, no source; the data sheet of the product goes before it, and the record says so.
ADVICE = [
    "Sweep leaves and dirt off, above all between the boards: what stays wet there wears the finish first.",
    "Put pots and furniture on feet, and move them now and then; lift rugs after rain.",
    "Wash with water, a mild soap and a soft broom, along the grain. No bleach.",
    "Clear snow with a plastic shovel along the boards; no salt and no metal edges.",
    "Put nothing else on it: another product may not hold, and then only a strip helps.",
    "When water soaks in instead of beading, the deck is due. Tell us then; a recoat in time saves a strip.",
]
SOFT = "Keep pressure washers away: a close jet furs and gouges this timber."
HARD = "If you use a pressure washer, keep the pressure low, the nozzle well away and go along the grain."
FRESH = "A fresh finish marks easily and is slippery. Keep people and pets off until the time above is over."
WET = "Wet boards are slippery, in winter most of all."
CLOTHS = (
    "Cloths with this finish on them can heat up by themselves and burn. Should you touch up a spot: put them in water "
    "in a closed metal can, or dry them spread out flat outdoors."
)


@dataclass(frozen=True)
class CareRecord:
    """One job as the client reads it; `care` is None if no finish went on, `foretold` if it is not the newest coat."""

    job: Job
    coats: list[CoatApplied]
    care: CareNote | None
    foretold: Foretold | None
    photo: Photo | None

    @property
    def finishes(self) -> list[CoatApplied]:
        return [coat for coat in self.coats if coat.product.kind == Product.Kind.FINISH]

    @property
    def advice(self) -> list[str]:
        return [*ADVICE[:2], SOFT if self.job.deck.is_jet_damaged else HARD, *ADVICE[2:]]

    @property
    def cautions(self) -> list[str]:
        """For those who live there; the general rule last."""
        products = list(dict.fromkeys(coat.product for coat in self.finishes))
        burns = any(each.finish_class in RAG_CLASSES or each.base == Product.Base.SOLVENT for each in products)
        own = [f"{each.name}: {each.cautions}" for each in products if each.cautions]
        said = [FRESH if self.care else "", WET, CLOTHS if burns else "", *own, LAST]
        return [text for text in said if text]


def job_for_record(pk: int) -> Job | None:
    """The job with all that its record shows."""
    return Job.objects.select_related("deck__property__client", "sign_off").with_coats().filter(pk=pk).first()


def care_record(job: Job) -> CareRecord:
    """From the job as logged and the forecast of its own coat."""
    told = foretold([job.deck_id], today=job.finished_on).get(job.deck_id)
    photo = Photo.objects.filter(job=job, moment=Photo.Moment.FINISHED).order_by("-id").first()
    own = told if told and told.coat_on == job.finished_on and job.starts_a_coat else None
    return CareRecord(job, list(job.coats_applied.all()), care_note(job), own, photo)


def in_short(record: CareRecord) -> str:
    """The record as a few lines for the message that it goes with."""
    return "\n".join(short_lines(record))


def short_lines(record: CareRecord) -> Iterator[str]:
    job = record.job
    yield f"{job.get_kind_display()}, {job.deck.label}, {display.day(job.finished_on)}."
    for coat in record.finishes:
        colour = f", {coat.colour}" if coat.colour else ""
        yield f"{coat.product.name}{colour}, {coat.coats} coat{'' if coat.coats == 1 else 's'}."
    if record.care:
        yield f"Walk on it from {display.day(record.care.walk_at.date())}{at_hour(record.care)}."
        yield f"Furniture back from {display.day(record.care.furniture_at.date())}."
    if record.foretold:
        told = record.foretold
        yield f"Next due between {display.month(told.window_opens_on)} and {display.month(told.due_on)}."


def at_hour(care: CareNote) -> str:
    return f", {display.clock(care.walk_at)}" if care.is_to_the_hour else ""
