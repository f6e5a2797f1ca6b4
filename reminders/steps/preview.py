"""What somebody looks at before anything is queued:
the messages word for word, their sums, and who is left out."""

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from clients.messaging import text_costs
from clients.models import Business, Channel
from reminders.steps.drafts import Draft, plan_fingerprint, write_drafts
from reminders.steps.planner import (
    LEFT_OUT_KINDS,
    LeftOut,
    PlannedMessage,
    ReminderPlan,
    ReminderRequest,
    plan_reminders,
)


@dataclass(frozen=True)
class LeftOutGroup:
    """Decks left out for one kind of reason."""

    kind: str
    label: str
    decks: int
    shown: Sequence[LeftOut] = ()

    @property
    def common_why(self) -> str:
        """The reason, where all of several have the same one: then it is said once."""
        reasons = {each.why for each in self.shown}
        return reasons.pop() if len(reasons) == 1 and len(self.shown) > 1 else ""

    @property
    def more(self) -> int:
        """How many are not shown."""
        return self.decks - len(self.shown)


@dataclass(frozen=True)
class ReminderPreview:
    """A plan as somebody agrees to it: the drafts that one click queues, how many more there are,
    and the left out."""

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
        return text_costs.text_cost(self.parts, text_costs.text_part_price())

    @property
    def by_channel(self) -> list[tuple[str, str, int]]:
        return count_by_step_and_channel([draft.planned for draft in self.drafts])

    @property
    def groups(self) -> list[LeftOutGroup]:
        return group_left_out_by_kind(self.left_out)


def preview_chosen_decks(
    deck_ids: Collection[int],
    *,
    business: Business,
    now: datetime,
    until: date,
    at_once: bool = False,
) -> ReminderPreview:
    """Everything that queueing these decks would do."""
    made = plan_reminders(
        ReminderRequest(until, deck_ids, at_once=at_once), business=business, now=now
    )
    return preview_of_plan(made, business=business, now=now)


def preview_of_plan(
    made: ReminderPlan, *, business: Business, now: datetime, limit: int | None = None
) -> ReminderPreview:
    would_go = made.planned[:limit]
    drafts, unwritten = write_drafts(would_go, business=business, today=business.today(now))
    left_out = [*made.left_out, *unwritten]
    return ReminderPreview(
        drafts, left_out, plan_fingerprint(would_go), len(made.planned) - len(would_go)
    )


def count_by_step_and_channel(planned: Sequence[PlannedMessage]) -> list[tuple[str, str, int]]:
    """(channel, step, how many messages), in the order of the steps."""
    counted = Counter((each.step.number, each.step.label, each.route.channel) for each in planned)
    return [
        (Channel(channel).label, word, count)
        for (_, word, channel), count in sorted(counted.items())
    ]


def group_left_out_by_kind(
    left_out: Sequence[LeftOut], *, limit: int | None = None, kind: str = ""
) -> list[LeftOutGroup]:
    """By kind of reason, those that somebody can do something about first;
    only one kind if it is named."""
    rows: dict[str, list[LeftOut]] = {name: [] for name in LEFT_OUT_KINDS}
    for each in left_out:
        rows[each.kind].append(each)
    return [
        LeftOutGroup(name, words, len(rows[name]), rows[name][:limit])
        for name, words in LEFT_OUT_KINDS.items()
        if rows[name] and kind in {"", name}
    ]
