"""What the work of a day takes beside its products: tools, and what protects the people."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from jobs.scope.definitions import Scope
from jobs.work import WorkFacts, protection_for, tools_for


@dataclass(frozen=True)
class DayKit:
    tools: Sequence[str] = ()
    protection: Sequence[str] = ()


def kit_for(scopes: Collection[Scope]) -> DayKit:
    """Each thing once, by the steps of the work; nothing for a day without work."""
    if not scopes:
        return DayKit()
    tasks = {step.task for scope in scopes for step in scope.steps if step.task}
    facts = [facts_of_scope(scope) for scope in scopes]
    return DayKit(
        tools_for(tasks, may_burn=any(each.may_burn for each in facts)),
        protection_for(tasks, is_high=any(each.is_high for each in facts)),
    )


def facts_of_scope(scope: Scope) -> WorkFacts:
    products = [need.product for need in scope.needs if need.product]
    return WorkFacts(scope.deck, scope.work, products)
