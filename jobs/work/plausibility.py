"""What looks wrong about a logged job. Nothing here refuses anything:
the one who stood on the deck decides."""

from collections.abc import Callable, Iterator

from clients import display
from jobs.models import STRIP_ABOVE_COATS, CoatApplied, Job, Photo, Product
from jobs.work.coat_build import CoatBuild
from jobs.work.compatibility import finish_compatibility
from jobs.work.spread_rate import MeasuredSpread, measured_spreads
from jobs.work.weather import (
    MIN_DEW_POINT_DEPRESSION_C,
    dew_point_depression_c,
    temperature_difference,
)


def plausibility_warnings(
    job: Job, *, before: Job | None, build_before: CoatBuild, build: CoatBuild
) -> list[str]:
    """In words, most serious first. `before` is the job that made the coat this one went onto, if
    any."""
    coats = list(job.coats_applied.all())
    checks: list[Callable[[], Iterator[str]]] = [
        lambda: compatibility_warnings(job, coats, before),
        lambda: strip_warnings(job, coats, build_before, build),
        lambda: dew_warnings(job),
        lambda: temperature_warnings(job, coats),
        lambda: spread_rate_warnings(job, coats),
        lambda: expired_batch_warnings(job, coats),
        lambda: missing_grade_warnings(job),
        lambda: missing_photo_warnings(job),
    ]
    return [text for check in checks for text in check()]


def finish_on_boards(coats: list[CoatApplied]) -> Product | None:
    """The finish that lies on top of the boards after a job; None if there is none or nobody knows
    its name."""
    finishes = [c.product for c in coats if c.is_finish and c.is_on_boards]
    return finishes[-1] if finishes else None


def compatibility_warnings(job: Job, coats: list[CoatApplied], before: Job | None) -> Iterator[str]:
    """A new finish over another kind may not hold; a strip takes the old one off first."""
    new = finish_on_boards(coats)
    old = finish_on_boards(list(before.coats_applied.all())) if before else None
    if not new or not old or new == old or job.kind == Job.Kind.STRIP:
        return
    verdict = finish_compatibility(old, new)
    if verdict.holds:
        yield (
            f"{new} went over {old}, another product: {verdict.why}. Check both data sheets and try"
            " a corner."
        )
    else:
        yield (
            f"{new} went over {old}: {verdict.why}. Check both data sheets, try a corner, or strip"
            " first."
        )


def strip_warnings(
    job: Job, coats: list[CoatApplied], before: CoatBuild, after: CoatBuild
) -> Iterator[str]:
    strippers = [c.coats for c in coats if c.product and c.product.kind == Product.Kind.STRIPPER]
    if after.needs_strip:
        yield (
            f"{after.coats} coats since the last strip, more than {STRIP_ABOVE_COATS}: the next job"
            f" is a strip, with {after.stripper_applications} full applications of stripper."
        )
    if (
        job.kind == Job.Kind.STRIP
        and before.needs_strip
        and strippers
        and None not in strippers
        and sum(filter(None, strippers)) < 2
    ):
        yield (
            f"{before.coats} coats had to come off: that takes two full applications of stripper."
            " One was logged."
        )


def dew_warnings(job: Job) -> Iterator[str]:
    gap = dew_point_depression_c(job.air_c, job.humidity_percent)
    if gap is not None and gap < MIN_DEW_POINT_DEPRESSION_C and job.starts_a_coat:
        yield (
            f"The air was only {temperature_difference(gap)} above the dew point: dew may have"
            " settled on the wood. Painters keep"
            f" {temperature_difference(MIN_DEW_POINT_DEPRESSION_C)} (common practice)."
        )


def temperature_warnings(job: Job, coats: list[CoatApplied]) -> Iterator[str]:
    """Outside the limits on the data sheet of a product that went on."""
    if job.air_c is None:
        return
    air = display.format_measure(job.air_c, "temperature")
    for product in dict.fromkeys(coat.product for coat in coats if coat.product):
        if product.minimum_c is not None and job.air_c < product.minimum_c:
            yield (
                f"{air} is colder than {product} allows"
                f" ({display.format_measure(product.minimum_c, 'temperature')})."
            )
        if product.maximum_c is not None and job.air_c > product.maximum_c:
            yield (
                f"{air} is hotter than {product} allows"
                f" ({display.format_measure(product.maximum_c, 'temperature')})."
            )


def spread_rate_warnings(job: Job, coats: list[CoatApplied]) -> Iterator[str]:
    for found in measured_spreads(job.deck, coats):
        if found.is_far_off:
            yield spread_rate_text(found)


def spread_rate_text(found: MeasuredSpread) -> str:
    rate = display.format_measure(found.spread_m2_per_l, "spread")
    stated = display.format_measure(found.stated_m2_per_l, "spread")
    means = (
        "a thin coat, or litres or coats mistyped"
        if found.is_thin
        else "a lot of product, or litres mistyped"
    )
    return f"{found.product} went {rate} a coat; its data sheet says {stated}. That is {means}."


def expired_batch_warnings(job: Job, coats: list[CoatApplied]) -> Iterator[str]:
    for batch in dict.fromkeys(coat.batch for coat in coats if coat.batch):
        if batch.expires_on and batch.expires_on < job.finished_on:
            yield (
                f"Batch {batch.code} of {batch.product} expired on"
                f" {display.format_day(batch.expires_on)}."
            )


def missing_grade_warnings(job: Job) -> Iterator[str]:
    if job.starts_a_coat and (job.visit is None or job.visit.grade is None):
        yield (
            "No as-found grade was given. The forecast learns from how a deck was found: add it"
            " while you remember."
        )


def missing_photo_warnings(job: Job) -> Iterator[str]:
    """Where the owner wants photos."""
    if display.current_business().wants_photos and (words := missing_photo_words(job)):
        yield f"{words} Add it below while you can."


def missing_photo_words(job: Job) -> str:
    """“There is no photo from before the work.”; empty where none is missing."""
    words = {
        Photo.Moment.FOUND: "from before the work",
        Photo.Moment.FINISHED: "of the finished deck",
    }
    lacking = [words[moment] for moment in job.missing_photo_moments]
    return f"There is no photo {' and none '.join(lacking)}." if lacking else ""
