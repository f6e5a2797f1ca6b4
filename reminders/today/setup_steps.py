"""What a business with little in its book still has to enter, each with its state and its page."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.urls import reverse

from clients.messaging.models import Message
from clients.messaging.models.message import State
from clients.models import Business, Deck, channels_with
from jobs.models import Crew, PriceList, Product

FULL_BOOK_DECKS = 20  # from so many on the list is in, and the steps stand apart no more


@dataclass(frozen=True)
class SetupStep:
    """One thing to enter: what, whether it is there, and where."""

    name: str
    is_done: bool
    state: str
    url: str


def setup_steps(business: Business, *, may_manage: bool) -> Sequence[SetupStep]:
    """In the order in which one does them; a list is brought in by an owner."""
    decks = Deck.objects.current().count()
    return [
        business_step(business),
        SetupStep(
            "Your clients and decks",
            decks > 0,
            f"{decks} deck{'' if decks == 1 else 's'} entered" if decks else "nobody yet",
            reverse("lists:choose" if may_manage else "clients:new"),
        ),
        row_step("Products you use", Product.objects.count(), "product", "jobs:products"),
        row_step("Prices", PriceList.objects.count(), "price list", "prices:list"),
        row_step("Crews", Crew.objects.filter(is_active=True).count(), "crew", "diary:crews"),
        mail_step(business),
        reminder_step(),
    ]


def business_step(business: Business) -> SetupStep:
    missing = [
        words
        for words, value in (
            ("address", business.street),
            ("phone", business.phone),
            ("e-mail", business.sender),
        )
        if not value
    ]
    state = f"missing: {', '.join(missing)}" if missing else "name, address, phone and e-mail"
    return SetupStep("Your business", not missing, state, reverse("settings:business"))


def row_step(name: str, count: int, word: str, page: str) -> SetupStep:
    state = f"{count} {word}{'' if count == 1 else 's'}" if count else "none yet"
    return SetupStep(name, count > 0, state, reverse(page))


def mail_step(business: Business) -> SetupStep:
    """An e-mail that a mail server took shows that sending works."""
    went = Message.objects.filter(
        channel__in=channels_with("is_by_mailbox"), state__in=[State.ACCEPTED, State.DELIVERED]
    ).exists()
    state = "an e-mail has gone out" if went else "no e-mail has gone out yet"
    return SetupStep("E-mail works", went, state, reverse("settings:ready"))


def reminder_step() -> SetupStep:
    sent = Message.objects.filter(kind=Message.Kind.REMINDER).exists()
    state = "sent" if sent else "choose decks in the table, then Remind"
    return SetupStep("First reminder", sent, state, "#decks")
