"""What somebody looks at before anything is queued: the messages word for word, their sums, and who is left out."""

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from clients.models import Business
from clients.models.channel import Channel
from reminders.drafts import Draft, fingerprint, written_out
from reminders.steps import LeftOut, Plan, Planned, plan
from reminders.steps.planning import KINDS


@dataclass(frozen=True)
class Group:
    """Decks left out for one kind of reason."""

    kind: str
    words: str
    decks: int
    shown: Sequence[LeftOut] = ()

    @property
    def more(self) -> int:
        """How many are not shown."""
        return self.decks - len(self.shown)


@dataclass(frozen=True)
class Preview:
    """A plan with the drafts of the part shown."""

    plan: Plan
    drafts: Sequence[Draft]
    left_out: Sequence[LeftOut]
    fingerprint: str
    by_channel: Sequence[tuple[str, str, int]] = field(default_factory=list)

    @property
    def messages(self) -> int:
        return len(self.plan.planned)

    @property
    def parts(self) -> int:
        """Parts of the text messages shown; each is paid for."""
        return sum(draft.written.parts for draft in self.drafts)

    @property
    def groups(self) -> list[Group]:
        return grouped(self.left_out)


def of_chosen(
    deck_ids: Collection[int], *, business: Business, now: datetime, until: date, at_once: bool = False
) -> Preview:
    """Everything that queueing these decks would do, written out."""
    made = plan(business=business, now=now, until=until, deck_ids=deck_ids, at_once=at_once)
    return seen(made, made.planned, business=business, now=now)


def of_book(*, business: Business, now: datetime, until: date, part: slice, most: int) -> Preview:
    """The whole book until a day; only the part shown is written out, and `most` messages would be queued at once."""
    made = plan(business=business, now=now, until=until)
    return seen(made, made.planned[:most], business=business, now=now, part=part)


def seen(
    made: Plan, would_go: Sequence[Planned], *, business: Business, now: datetime, part: slice | None = None
) -> Preview:
    shown = would_go if part is None else made.planned[part]
    drafts, unwritten = written_out(shown, business=business, today=business.today(now))
    left_out = [*made.left_out, *unwritten]
    return Preview(made, drafts, left_out, fingerprint(would_go), sums(made.planned))


def sums(planned: Sequence[Planned]) -> list[tuple[str, str, int]]:
    """(channel, step, how many messages), in the order of the steps."""
    counted = Counter((each.step.number, each.step.word, each.way.channel) for each in planned)
    return [(Channel(channel).label, word, count) for (_, word, channel), count in sorted(counted.items())]


def grouped(left_out: Sequence[LeftOut], *, most: int | None = None) -> list[Group]:
    """By kind of reason, those that somebody can do something about first."""
    found = []
    for kind, words in KINDS.items():
        rows = [each for each in left_out if each.kind == kind]
        if rows:
            found.append(Group(kind, words, len(rows), rows[:most]))
    return found
