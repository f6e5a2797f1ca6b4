"""Rails, stairs and screens are priced for every pass over them."""

from decimal import Decimal
from typing import Any

from django.db import migrations, models

CENT = Decimal("0.01")
UNITS = {"rails": "m", "stairs": "tread"}
OTHER_PASSES = ("strip", "brighten")


def price_every_pass(apps: Any, schema_editor: Any) -> None:
    """A price of rails or stairs was charged once, whatever was done. It becomes what a clean and
    one coat of them cost, so that a recoat in one coat costs what it did; its parts, and a strip
    and a brightener, are to each other as they are on the boards of the same list."""
    for price_list in apps.get_model("jobs", "PriceList").objects.all():
        rates = {(rate.task, rate.per): rate for rate in price_list.rates.all()}
        for task, unit in UNITS.items():
            if (task, unit) in rates:
                spread_price(rates, task, unit)


def spread_price(rates: dict[tuple[str, str], Any], task: str, unit: str) -> None:
    once = rates[task, unit]
    hourly = rates.get((task, "hour"))
    amount = once.amount + (hourly.amount * once.minutes / 60 if hourly else 0)
    for found in (once, hourly):
        if found:
            found.delete()
    amounts = shares_of_passes(rates, "amount", Decimal(amount))
    minutes = shares_of_passes(rates, "minutes", once.minutes)
    for name in amounts:
        by_the_hour = rates.get((name, "hour"))
        less = by_the_hour.amount * minutes[name] / 60 if by_the_hour else Decimal(0)
        type(once).objects.create(
            price_list_id=once.price_list_id,
            task=name,
            per=unit,
            amount=max(Decimal(0), amounts[name] - less).quantize(CENT),
            minutes=minutes[name],
        )


def shares_of_passes(
    rates: dict[tuple[str, str], Any], field: str, whole: Decimal
) -> dict[str, Decimal]:
    """Of a clean and a coat, which together are the whole, and of the other passes."""
    boards = {
        name: getattr(rates[name, "m2"], field) if (name, "m2") in rates else Decimal(0)
        for name in ("clean", "coat", *OTHER_PASSES)
    }
    recoat = boards["clean"] + boards["coat"]
    if not recoat:
        return {"clean": Decimal(0), "coat": whole} | dict.fromkeys(OTHER_PASSES, Decimal(0))
    clean = (whole * boards["clean"] / recoat).quantize(CENT)
    others = {name: (whole * boards[name] / recoat).quantize(CENT) for name in OTHER_PASSES}
    return {"clean": clean, "coat": whole - clean} | others


class Migration(migrations.Migration):
    dependencies = [('jobs', '0017_photo_once_a_job')]

    operations = [
        migrations.AlterField(
            model_name="rate",
            name="per",
            field=models.CharField(
                choices=[
                    ("m2", "m²"),
                    ("m", "m rail"),
                    ("tread", "tread"),
                    ("screen", "m² screen"),
                    ("hour", "hour"),
                    ("job", "visit"),
                ],
                max_length=6,
            ),
        ),
        migrations.AlterField(
            model_name="rate",
            name="task",
            field=models.CharField(
                choices=[
                    ("set_up", "Set up and protect surrounds"),
                    ("clean", "Clean"),
                    ("strip", "Strip, one full application"),
                    ("brighten", "Brighten"),
                    ("sand", "Light sand"),
                    ("coat", "Seal, one coat"),
                    ("rails", "Railing, once a visit"),
                    ("stairs", "Stairs, once a visit"),
                    ("hourly", "Other work by the hour"),
                ],
                max_length=8,
            ),
        ),
        migrations.AddField(
            model_name="offer",
            name="visits",
            field=models.PositiveSmallIntegerField(
                default=0, help_text="0 where nobody said.", verbose_name="days on site"
            ),
        ),
        migrations.RunPython(price_every_pass, migrations.RunPython.noop),
    ]
