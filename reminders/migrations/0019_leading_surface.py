"""A forecast tells of the coat that leads the next visit, which need not be that on the boards."""

from django.db import migrations, models
from django.db.models import Q

# Of the release before, which knows boards alone and writes no day of theirs.
OF_THE_BOARDS = """
DROP TRIGGER boards_due ON reminders_forecast;
CREATE TRIGGER boards_due BEFORE INSERT OR UPDATE ON reminders_forecast
    FOR EACH ROW WHEN (
        NEW.surface = 'boards' AND (NEW.boards_due_on IS NULL OR NEW.boards_due_on < NEW.due_on)
    )
    EXECUTE FUNCTION reminders_boards_due()
"""
OF_ALL = """
DROP TRIGGER boards_due ON reminders_forecast;
DELETE FROM reminders_forecast WHERE boards_due_on IS NULL;
CREATE TRIGGER boards_due BEFORE INSERT OR UPDATE ON reminders_forecast
    FOR EACH ROW WHEN (NEW.boards_due_on IS NULL OR NEW.boards_due_on < NEW.due_on)
    EXECUTE FUNCTION reminders_boards_due()
"""


class Migration(migrations.Migration):
    dependencies = [("reminders", "0018_surfaces")]

    operations = [
        migrations.AddField(
            "forecast",
            "surface",
            models.CharField(
                choices=[
                    ("boards", "Deck boards"),
                    ("stairs", "Stairs"),
                    ("rails", "Railing"),
                    ("screens", "Privacy screens"),
                ],
                db_default="boards",
                default="boards",
                help_text="What the coat is on.",
                max_length=7,
            ),
        ),
        migrations.AlterField(
            "forecast",
            "boards_due_on",
            models.DateField(
                blank=True,
                help_text="That of the boards, if they have a coat; due_on is earlier where"
                " something else comes first.",
                null=True,
            ),
        ),
        migrations.RunSQL(OF_THE_BOARDS, OF_ALL),
        migrations.AddConstraint(
            "forecast",
            models.CheckConstraint(
                name="forecast_of_the_boards_has_their_day",
                condition=~Q(surface="boards") | Q(boards_due_on__isnull=False),
            ),
        ),
    ]
