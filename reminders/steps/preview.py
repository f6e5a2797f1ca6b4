"""What somebody looks at before anything is queued: the messages word for word, their sums, and who is left out."""

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from clients.messaging import text_costs
from clients.models import Business
from clients.models.channel import Channel
from reminders.steps import LeftOut, Plan, Planned, plan
from reminders.steps.drafts import Draft, fingerprint, written_out
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
    """A plan as somebody agrees to it: the drafts that one click queues, how many more there are, and the left out."""

    drafts: Sequence[Draft]
    left_out: Sequence[LeftOut]
    fingerprint: str
    further: int = 0

    @property
    def parts(self) -> int:
        """Parts of all text messages; each is paid for."""
        return sum(draft.written.parts for draft in self.drafts)

    @property
    def text_cost(self) -> Decimal | None:
        """About what they cost, if the owner has entered a price."""
        return text_costs.cost(self.parts, text_costs.price())

    @property
    def by_channel(self) -> list[tuple[str, str, int]]:
        return sums([draft.planned for draft in self.drafts])

    @property
    def groups(self) -> list[Group]:
        return grouped(self.left_out)


def of_chosen(
    deck_ids: Collection[int], *, business: Business, now: datetime, until: date, at_once: bool = False
) -> Preview:
    """Everything that queueing these decks would do."""
    made = plan(business=business, now=now, until=until, deck_ids=deck_ids, at_once=at_once)
    return seen(made, business=business, now=now)


def of_book(*, business: Business, now: datetime, until: date, most: int) -> Preview:
    """The whole book until a day: the `most` messages that come first, as one click queues them."""
    return seen(plan(business=business, now=now, until=until), business=business, now=now, most=most)


def seen(made: Plan, *, business: Business, now: datetime, most: int | None = None) -> Preview:
    would_go = made.planned[:most]
    drafts, unwritten = written_out(would_go, business=business, today=business.today(now))
    left_out = [*made.left_out, *unwritten]
    return Preview(drafts, left_out, fingerprint(would_go), len(made.planned) - len(would_go))


def sums(planned: Sequence[Planned]) -> list[tuple[str, str, int]]:
    """(channel, step, how many messages), in the order of the steps."""
    counted = Counter((each.step.number, each.step.word, each.way.channel) for each in planned)
    return [(Channel(channel).label, word, count) for (_, word, channel), count in sorted(counted.items())]


def grouped(left_out: Sequence[LeftOut], *, most: int | None = None, kind: str = "") -> list[Group]:
    """By kind of reason, those that somebody can do something about first; only one kind if it is named."""
    rows: dict[str, list[LeftOut]] = {name: [] for name in KINDS}
    for each in left_out:
        rows[each.kind].append(each)
    return [
        Group(name, words, len(rows[name]), rows[name][:most])
        for name, words in KINDS.items() if rows[name] and kind in {"", name}
    ]  # fmt: skip
