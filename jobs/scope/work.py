"""Recoat or strip, how many coats and how many applications of stripper, and why, in words a client
understands."""

from dataclasses import dataclass

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.models import Surface
from clients.notation import StrOrPromise, ngettext_lazy
from jobs.forecast_summary import WorkAdvice
from jobs.models import STRIP_ABOVE_COATS, OfferScope
from jobs.scope.definitions import Override
from jobs.scope.finish import FinishChoice
from jobs.scope.history import DeckHistory
from jobs.work import FLAKING_GRADE, is_film, strip_grade

RECOAT = OfferScope.Work.RECOAT
STRIP = OfferScope.Work.STRIP
HEAVY_FILM_COATS = 4  # coats of film above which the build counts as heavy (a judgement)
WORN_GRADE = 3  # recoat limit: one maintenance coat is too little then
LOOK_FIRST = (
    "Look at it before a day is found: it may need a strip. Both prices stand in the offer."
)


@dataclass(frozen=True)
class ProposedWork:
    """What is to be done, how much of it, and why; `warning` is for the one who plans.

    `looks_first`: it is a recoat, unless a look at the boards says that only a strip will do.
    A strip is always sanded, for the wash furs the wood.
    """

    work: str
    reasons: list[StrOrPromise]
    stripper_applications: int
    coats: int
    warning: str = ""
    looks_first: bool = False
    is_sanded: bool = True


def decide_work(
    history: DeckHistory,
    choice: FinishChoice,
    override: Override,
    advice: WorkAdvice | None = None,
) -> ProposedWork:
    """The one rule of the house: what is asked for, then what is known of the deck, then the chance
    that a recoat still does (`advice`; None where nothing is forecast)."""
    causes = strip_causes(history, choice, advice)
    work = override.work or (STRIP if causes else RECOAT)
    applications = (
        (override.stripper_applications or proposed_applications(history)) if work == STRIP else 0
    )
    coats = override.coats or (
        usual_coats(choice) if work == STRIP else recoat_coats(history, choice)
    )
    if work == STRIP:
        return ProposedWork(
            work,
            [*(causes or [_("A strip was asked for.")]), product_reason(choice)],
            applications,
            coats,
        )
    if override.looks_first or (not override.work and has_to_be_seen(history, advice)):
        reasons = [look_reason(history), product_reason(choice)]
        return ProposedWork(work, reasons, 0, coats, LOOK_FIRST, looks_first=True)
    warning = f"By the book this is a strip: {' '.join(map(str, causes))}" if causes else ""
    return ProposedWork(
        work, [*recoat_reasons(history, coats), product_reason(choice)], 0, coats, warning
    )


def has_to_be_seen(history: DeckHistory, advice: WorkAdvice | None) -> bool:
    """Where nothing is forecast nobody knows what is on the boards."""
    return advice == WorkAdvice.LOOK or (advice is None and history.last_coat is None)


def look_reason(history: DeckHistory) -> StrOrPromise:
    if history.last_coat is None:
        return _(
            "We have no record of the finish on this deck, so we look at the boards first: a clean"
            " and a new coat may do, or the old finish has to come off."
        )
    return _(
        "By its age the old finish may be too far gone, so we look at the boards first: a clean and"
        " a new coat may do, or the old finish has to come off."
    )


def product_reason(choice: FinishChoice) -> StrOrPromise:
    proposed = (
        format_lazy(_("We propose {product}."), product=choice.product) if choice.product else ""
    )
    return choice.reason or proposed


def strip_causes(
    history: DeckHistory, choice: FinishChoice, advice: WorkAdvice | None
) -> list[StrOrPromise]:
    """Each reason for a strip by itself; empty if a clean and recoat will do, or may."""
    found = [coat_count_cause(history), wear_cause(history), flaking_cause(history)]
    if advice == WorkAdvice.STRIP:
        found.append(
            _("By its age the old finish is most likely too far gone for a new coat alone.")
        )
    if choice.needs_strip:
        found.append(_("Changing the finish takes the old one off first."))
    return [text for text in found if text]


def coat_count_cause(history: DeckHistory) -> StrOrPromise:
    if not history.build.needs_strip:
        return ""
    words = _(
        "{coats} coats lie on the boards since the last strip. More than {most} do not hold another"
        " one: they come off first."
    )
    return format_lazy(words, coats=history.build.coats, most=STRIP_ABOVE_COATS)


def wear_cause(history: DeckHistory) -> StrOrPromise:
    grade = history.last_grade()
    last = history.last_coat
    if grade is None or grade < strip_grade(last.product if last else None):
        return ""
    words = _(
        "When we saw it on {day} the finish was worn to {grade} of 5: too far for a new coat alone."
    )
    return format_lazy(words, day=graded_on_text(history, "grade"), grade=grade)


def flaking_cause(history: DeckHistory) -> StrOrPromise:
    grade = history.last_grade("flaking")
    if grade is None or grade < FLAKING_GRADE:
        return ""
    words = _(
        "The old finish was peeling on {day} ({grade} of 5): a new coat would come off with it."
    )
    return format_lazy(words, day=graded_on_text(history, "flaking"), grade=grade)


def graded_on_text(history: DeckHistory, name: str) -> StrOrPromise:
    visit = next(visit for visit in history.later_checks if getattr(visit, name) is not None)
    return display.format_day_lazy(visit.visited_on)


def proposed_applications(history: DeckHistory) -> int:
    """A second one above six coats or on a heavy film (common practice, no source)."""
    last = history.last_coat
    is_heavy = last is not None and is_film(last.product) and history.build.coats > HEAVY_FILM_COATS
    return 2 if is_heavy else history.build.stripper_applications


def usual_coats(choice: FinishChoice) -> int:
    return choice.product.coats_usual if choice.product else 2


def recoat_coats(history: DeckHistory, choice: FinishChoice) -> int:
    """As many as the last recoat laid, else one; two where the coat is worn;
    never more than the product takes."""
    grade = history.last_grade()
    wanted = 2 if grade is not None and grade >= WORN_GRADE else history.last_recoat_coats or 1
    return min(wanted, usual_coats(choice))


def recoat_reasons(history: DeckHistory, coats: int) -> list[StrOrPromise]:
    """Why a clean and recoat is enough, and what it leads to."""
    if history.surface != Surface.BOARDS:
        return [_("By its age it is ready for its next coat.")]
    build = history.build.coats
    after = history.build.coats + coats
    counted = ngettext_lazy(
        "{coats} coat since the last strip; up to {most} carry another: a clean and a new coat"
        " will do.",
        "{coats} coats since the last strip; up to {most} carry another: a clean and a new coat"
        " will do.",
        build,
    )
    unknown = _(
        "Coats whose number was not logged since the last strip; up to {most} carry another: a"
        " clean and a new coat will do."
    )
    reasons: list[StrOrPromise] = [
        format_lazy(counted if build else unknown, coats=build, most=STRIP_ABOVE_COATS)
    ]
    if after > STRIP_ABOVE_COATS:
        reasons.append(
            format_lazy(
                _("With {coats} coats on it the job after this one is a strip."), coats=after
            )
        )
    return reasons
