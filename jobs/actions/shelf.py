"""What is on the shelf: the packs a product is sold in, and the tins that are left."""

from datetime import date, datetime
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from clients.actions.saving import lock_row, save_if_changed
from jobs.actions.jobs import get_or_create_batch
from jobs.models import Pack, Product, StockTin


@transaction.atomic
def save_pack(*, product: Product, litres: Decimal, price: Decimal) -> Pack:
    """A size and its price; the size that is there already gets the new price and is sold again."""
    pack, _ = Pack.objects.update_or_create(
        product=product, litres=litres, defaults={"price": price, "is_active": True}
    )
    return pack


@transaction.atomic
def change_pack(*, pack: Pack, price: Decimal, is_active: bool) -> Pack:
    pack = lock_row(pack)
    save_if_changed(pack, {"price": price, "is_active": is_active})
    return pack


@transaction.atomic
def add_tin(
    *, product: Product, colour: str, batch_code: str, litres: Decimal, form_key: UUID, today: date
) -> tuple[StockTin, bool]:
    """Add a can to the shelf; the same form a second time finds the first tin (False)."""
    values = {
        "product": product,
        "colour": colour,
        "batch": get_or_create_batch(product, batch_code),
        "litres": litres,
        "noted_on": today,
    }
    return StockTin.objects.get_or_create(form_key=form_key, defaults=values)


@transaction.atomic
def measure_tin(*, tin: StockTin, litres: Decimal, today: date, now: datetime) -> StockTin:
    """What is left in a tin now; nothing left takes it off the shelf."""
    tin = lock_row(tin)
    used_up_at = None if litres else tin.used_up_at or now
    save_if_changed(tin, {"litres": litres, "noted_on": today, "used_up_at": used_up_at})
    return tin
