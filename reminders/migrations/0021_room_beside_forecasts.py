"""Each night writes every forecast again, mostly with the days it had: with room for it beside the
row no index has to hear of it, and none grows (docs/decisions/0067)."""

from django.db import migrations

# of each page of the table, in percent: a little less than half
ROOM = "ALTER TABLE reminders_forecast SET (fillfactor = 45)"


class Migration(migrations.Migration):
    dependencies = [("reminders", "0020_forecast_standing")]

    operations = [
        migrations.RunSQL(ROOM, "ALTER TABLE reminders_forecast RESET (fillfactor)"),
    ]
