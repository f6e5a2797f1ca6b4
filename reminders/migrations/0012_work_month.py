"""The due day is the one that suits the work best; the median has a column of its own.

Stored due days are medians until the forecasts are refreshed, by the nightly task or by
`manage.py refresh_forecasts`. Steps that stand as the program made them follow its new ones.
"""

from typing import Any

from django.db import migrations, models
from django.db.models import F, Q

# number → (anchor, days) before and after
FORMER_STEPS = {1: ("opens", 0), 2: ("due", 0), 3: ("late", 0)}
NEW_STEPS = {1: ("due", -56), 2: ("due", -28), 3: ("due", 14)}

# The release before serves while this one migrates: its due day is the median.
FOR_THE_RELEASE_BEFORE = """
CREATE FUNCTION reminders_half_worn() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    NEW.half_worn_on := NEW.due_on;
    RETURN NEW;
END $$;
CREATE TRIGGER half_worn BEFORE INSERT ON reminders_forecast
    FOR EACH ROW WHEN (NEW.half_worn_on IS NULL) EXECUTE FUNCTION reminders_half_worn()
"""
FOR_IT_NO_MORE = """
DROP TRIGGER half_worn ON reminders_forecast;
DROP FUNCTION reminders_half_worn()
"""


def move_untouched_steps(apps: Any, _schema_editor: Any) -> None:
    steps = apps.get_model("reminders", "ReminderStep").objects
    found = dict(steps.values_list("number", "anchor").order_by("number"))
    offsets = dict(steps.values_list("number", "offset_days"))
    if {number: (found[number], offsets[number]) for number in found} == FORMER_STEPS:
        for number, (anchor, days) in NEW_STEPS.items():
            steps.filter(number=number).update(anchor=anchor, offset_days=days)


class Migration(migrations.Migration):
    dependencies = [("reminders", "0011_client_page")]

    operations = [
        migrations.RemoveConstraint(model_name="forecast", name="forecast_window_in_order"),
        migrations.AddField(
            model_name="forecast",
            name="half_worn_on",
            field=models.DateField(help_text="The chance of being worn reaches 50 %.", null=True),
        ),
        migrations.RunSQL(
            "UPDATE reminders_forecast SET half_worn_on = due_on", migrations.RunSQL.noop
        ),
        migrations.RunSQL(FOR_THE_RELEASE_BEFORE, FOR_IT_NO_MORE),
        migrations.AlterField(
            model_name="forecast",
            name="half_worn_on",
            field=models.DateField(help_text="The chance of being worn reaches 50 %."),
        ),
        migrations.AlterField(
            model_name="forecast",
            name="due_on",
            field=models.DateField(
                help_text=(
                    "The day of a workable week that suits the work best, by what upkeep costs."
                )
            ),
        ),
        migrations.AddField(
            model_name="forecast",
            name="look_on",
            field=models.DateField(
                blank=True,
                help_text="From then on one of us looks at it before a recoat is planned.",
                null=True,
            ),
        ),
        migrations.AlterField(
            model_name="forecast",
            name="strip_on",
            field=models.DateField(
                blank=True, help_text="From then on a strip is planned.", null=True
            ),
        ),
        migrations.AddConstraint(
            model_name="forecast",
            constraint=models.CheckConstraint(
                condition=Q(window_opens_on__lte=F("half_worn_on"), half_worn_on__lte=F("late_on")),
                name="forecast_window_in_order",
            ),
        ),
        migrations.RunPython(move_untouched_steps, migrations.RunPython.noop),
    ]
