"""Coat build: how many coats of finish lie on a deck since its last strip, and what that means for
the next job."""

from dataclasses import dataclass

from clients.models import Deck
from jobs.models import STRIP_ABOVE_COATS, Job


@dataclass(frozen=True)
class CoatBuild:
    """Coats on the boards since the last strip."""

    coats: int

    @property
    def needs_strip(self) -> bool:
        return self.coats > STRIP_ABOVE_COATS

    @property
    def stripper_applications(self) -> int:
        """Above six coats one application does not go through (common practice, no source)."""
        return 2 if self.needs_strip else 1


def coat_build(deck: Deck) -> CoatBuild:
    return CoatBuild(Job.objects.coat_build_by_deck([deck.pk])[deck.pk])


def coat_build_before_and_after(job: Job) -> tuple[CoatBuild, CoatBuild]:
    """What lay on the deck before a job, and what lay there when it was done."""
    days = [(job.finished_on, job.pk), (job.finished_on, job.pk + 1)]
    before, after = (
        Job.objects.coat_build_by_deck([job.deck_id], before=day)[job.deck_id] for day in days
    )
    return CoatBuild(before), CoatBuild(after)
