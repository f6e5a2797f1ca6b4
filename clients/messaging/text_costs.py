"""What text messages cost, as far as it can be told:
their parts times the price that the owner entered.

An estimate: gateways round, charge by network, and change their prices. Nothing of it is kept.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import ROUND_HALF_UP, Decimal

from babel.numbers import get_currency_precision

from clients import display
from clients.messaging import sms_parts
from clients.messaging.models import Message, TextGateway
from clients.messaging.models.message import State
from clients.models import Business
from clients.models.channel import Channel


@dataclass(frozen=True)
class MonthlyTextCosts:
    """Text messages that the gateway took in one month. `cost` is None without a price."""

    month: date  # its first day
    messages: int
    parts: int
    cost: Decimal | None


def text_part_price() -> Decimal | None:
    """Of one part, in the currency of the business."""
    return TextGateway.objects.filter(id=1).values_list("part_price", flat=True).first()


def text_cost(parts: int, price: Decimal | None) -> Decimal | None:
    """In the currency of the business, rounded half up once, to its smallest coin."""
    if price is None:
        return None
    smallest = Decimal(1).scaleb(-get_currency_precision(display.current_business().currency))
    return (parts * price).quantize(smallest, rounding=ROUND_HALF_UP)


def text_costs_by_month(*, business: Business, today: date, months: int) -> list[MonthlyTextCosts]:
    """The present month and those before it, the newest first, by the day the gateway took a
    message."""
    part_price = text_part_price()
    firsts = [today.replace(day=1)]
    while len(firsts) < months:
        firsts.append((firsts[-1] - timedelta(days=1)).replace(day=1))
    return [text_costs_in_month(business, first, part_price) for first in firsts]


def text_costs_in_month(
    business: Business, first: date, part_price: Decimal | None
) -> MonthlyTextCosts:
    after = (first + timedelta(days=31)).replace(day=1)
    start, end = (datetime.combine(day, time(), tzinfo=business.zone) for day in (first, after))
    taken = Message.objects.filter(
        channel=Channel.TEXT, accepted_at__gte=start, accepted_at__lt=end
    )
    texts = list(taken.order_by().values_list("text", flat=True))
    parts = sum(sms_parts.measure_sms(text).parts for text in texts)
    return MonthlyTextCosts(first, len(texts), parts, text_cost(parts, part_price))


def count_unconfirmed_texts() -> int:
    """May have gone out and been charged; nobody knows."""
    return Message.objects.filter(channel=Channel.TEXT, state=State.UNCONFIRMED).count()
