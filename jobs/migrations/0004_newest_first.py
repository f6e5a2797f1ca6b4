"""An index for the last jobs of the whole book and for counting those of a month (first page)."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0003_search_triggers")]
    operations = [
        migrations.AddIndex(
            model_name="job", index=models.Index(fields=["-finished_on", "-id"], name="job_newest_first")
        )
    ]
