"""The work in a few steps that a client wants to know; the crew has its own, with all times."""

from django.utils.translation import gettext as _

from jobs.models import OfferScope


def client_steps(scope: OfferScope, coats: str) -> list[str]:
    """In the language in force; the waits are those of the offer's own steps. `coats`: how many of
    which finish."""
    return [
        _("We look at the structure and cover plants, walls and metal."),
        removing_words(scope),
        drying_words(scope),
        sealing_words(scope).format(coats=coats),
        *first_days(scope),
    ]


def removing_words(scope: OfferScope) -> str:
    if scope.work != OfferScope.Work.STRIP:
        return _("We wash the boards and rinse them.")
    if scope.stripper_applications < 2:
        return _("We take the old finish off with stripper, rinse, and brighten the wood.")
    return _(
        "We take the old finish off with {count} applications of stripper, rinse, and brighten the"
        " wood."
    ).format(count=scope.stripper_applications)


def sealing_words(scope: OfferScope) -> str:
    if scope.steps and not scope.is_sanded:
        return _("We seal with {coats}.")
    return _("We sand lightly and seal with {coats}.")


def drying_words(scope: OfferScope) -> str:
    """The longest wait before the work goes on: that of the wood."""
    worked = [place for place, step in enumerate(scope.steps) if step.get("task")]
    between = [
        step
        for step in scope.steps[: worked[-1] if worked else 0]
        if step.get("wait") and not step.get("task")
    ]
    if not between:
        return _("The wood dries.")
    wait = between[-1].get("for_client", between[-1])["wait"]
    return _("The wood dries: {wait}.").format(wait=wait)


def first_days(scope: OfferScope) -> list[str]:
    """When it may be walked on and when furniture comes back, if the offer says both."""
    last = scope.client_steps[-2:]
    if len(last) < 2 or any(step.get("task") for step in scope.steps[-2:]):
        return []
    walk, furniture = (step.get("wait", "") for step in last)
    words = _("You walk on it {walk}; furniture comes back {furniture}.")
    return [words.format(walk=walk, furniture=furniture)] if walk and furniture else []
