"""Recoat or strip, how many coats and how many applications of stripper, and why, in words a client
understands."""

from dataclasses import dataclass
from datetime import date, timedelta

from django.utils.text import format_lazy
from django.utils.translation import gettext_lazy as _

from clients import display
from clients.languages import StrOrPromise, ngettext_lazy
from jobs.models import STRIP_ABOVE_COATS, OfferScope
from jobs.scope.definitions import Override
from jobs.scope.finish import FinishChoice
from jobs.scope.history import DeckHistory
from jobs.work import is_film

RECOAT = OfferScope.Work.RECOAT
STRIP = OfferScope.Work.STRIP
STRIP_GRADE = 4  # as-found grade at which the strip limit is passed (docs/forecast.md)
# moderate, about 1 % of the surface in ISO 4628-5 (from memory): a new coat goes with the flakes
FLAKING_GRADE = 3
HEAVY_FILM_COATS = 4  # coats of film above which the build counts as heavy (a judgement)
WORN_GRADE = 3  # recoat limit: one maintenance coat is too little then
# A coat is renewed every 12 to 16 months (common practice, no source); after that nobody knows
# without looking.
MAX_UNSEEN = timedelta(days=487)


@dataclass(frozen=True)
class ProposedWork:
    """What is to be done, how much of it, and why; `warning` is for the one who plans."""

    work: str
    reasons: list[StrOrPromise]
    stripper_applications: int
    coats: int
    warning: str = ""


def decide_work(history: DeckHistory, choice: FinishChoice, override: Override) -> ProposedWork:
    causes = strip_causes(history, choice)
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
    warning = f"By the book this is a strip: {' '.join(map(str, causes))}" if causes else ""
    return ProposedWork(
        work, [*recoat_reasons(history, coats), product_reason(choice)], 0, coats, warning
    )


def unseen_warning(history: DeckHistory, work: ProposedWork, *, today: date) -> str:
    """A recoat of a deck that nobody has looked at for long is a guess."""
    seen_on = history.last_seen_on
    if work.work == STRIP or seen_on is None or today - seen_on <= MAX_UNSEEN:
        return ""
    seen = f"Nobody of us has seen it since {display.format_day(seen_on)}"
    return f"{seen}: look at it before the price stands, it may need a strip."


def product_reason(choice: FinishChoice) -> StrOrPromise:
    proposed = (
        format_lazy(_("We propose {product}."), product=choice.product) if choice.product else ""
    )
    return choice.reason or proposed


def strip_causes(history: DeckHistory, choice: FinishChoice) -> list[StrOrPromise]:
    """Each reason for a strip by itself; empty if a clean and recoat will do."""
    if history.last_coat is None:
        return [_("We have no record of the finish on this deck. A strip makes a clean start.")]
    found = [coat_count_cause(history), wear_cause(history), flaking_cause(history)]
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
    if grade is None or grade < STRIP_GRADE:
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
