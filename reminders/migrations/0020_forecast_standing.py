"""Where every deck stands is read from one index, without the rows of the forecasts."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("reminders", "0019_leading_surface")]

    operations = [
        migrations.AddIndex(
            "forecast",
            models.Index(
                fields=["due_on", "deck"],
                include=[
                    "job",
                    "surface",
                    "boards_due_on",
                    "window_opens_on",
                    "late_on",
                    "strip_on",
                    "coat_build",
                ],
                name="forecast_standing",
            ),
        ),
        migrations.RemoveIndex("forecast", "forecast_by_due"),
    ]
