"""Rails, stairs and screens get a day of their own; a deck is due with the first of them."""

import django.db.models.deletion
from django.db import migrations, models
from django.db.models import F, Q

# The release before serves while this one migrates, and writes forecasts without the column.
FOR_THE_RELEASE_BEFORE = """
CREATE FUNCTION reminders_boards_due() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    NEW.boards_due_on := NEW.due_on;
    RETURN NEW;
END $$;
CREATE TRIGGER boards_due BEFORE INSERT OR UPDATE ON reminders_forecast
    FOR EACH ROW WHEN (NEW.boards_due_on IS NULL OR NEW.boards_due_on < NEW.due_on)
    EXECUTE FUNCTION reminders_boards_due()
"""
FOR_IT_NO_MORE = """
DROP TRIGGER boards_due ON reminders_forecast;
DROP FUNCTION reminders_boards_due()
"""

class Migration(migrations.Migration):
    dependencies = [
        ("clients", "0031_on_the_way_text"),
        ("jobs", "0034_surfaces"),
        ("reminders", "0017_defects_and_on_the_way"),
    ]

    operations = [
        migrations.AddField(
            "forecast",
            "boards_due_on",
            models.DateField(
                null=True,
                help_text="That of the boards; due_on is earlier where something else comes first.",
            ),
        ),
        migrations.RunSQL(
            "UPDATE reminders_forecast SET boards_due_on = due_on", migrations.RunSQL.noop
        ),
        migrations.RunSQL(FOR_THE_RELEASE_BEFORE, FOR_IT_NO_MORE),
        migrations.AlterField(
            "forecast",
            "boards_due_on",
            models.DateField(
                help_text="That of the boards; due_on is earlier where something else comes first.",
            ),
        ),
        migrations.AlterField(
            "forecast",
            "due_on",
            models.DateField(
                help_text="The day of a workable week that suits the work best, by what upkeep"
                " costs; of the surface that comes first.",
            ),
        ),
        migrations.AddConstraint(
            "forecast",
            models.CheckConstraint(
                name="forecast_due_with_the_boards_or_before",
                condition=Q(due_on__lte=F("boards_due_on")),
            ),
        ),
        migrations.CreateModel(
            "SurfaceForecast",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "surface",
                    models.CharField(
                        max_length=7,
                        choices=[
                            ("boards", "Deck boards"),
                            ("stairs", "Stairs"),
                            ("rails", "Railing"),
                            ("screens", "Privacy screens"),
                        ],
                    ),
                ),
                (
                    "window_opens_on",
                    models.DateField(help_text="The chance of being worn reaches 20 %."),
                ),
                ("due_on", models.DateField(help_text="The day that suits the work best.")),
                ("late_on", models.DateField(help_text="The chance of being worn reaches 80 %.")),
                (
                    "deck",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="surface_forecasts",
                        to="clients.deck",
                    ),
                ),
                (
                    "job",
                    models.ForeignKey(
                        help_text="The job that made the coat.",
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="+",
                        to="jobs.job",
                    ),
                ),
            ],
            options={
                "ordering": ["deck_id", "due_on", "surface"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=["deck", "surface"], name="surface_forecast_once_a_deck"
                    ),
                    models.CheckConstraint(
                        name="surface_forecast_of_what_is_not_boards",
                        condition=Q(surface__in=["stairs", "rails", "screens"]),
                    ),
                ],
            },
        ),
    ]
