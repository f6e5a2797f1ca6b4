"""What could hurt somebody, in the language of each client."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [('jobs', '0018_price_every_pass')]

    operations = [
        migrations.AddField(
            model_name="product",
            name="cautions_translated",
            field=models.JSONField(
                blank=True,
                default=dict,
                help_text="By language, for clients who read another one.",
            ),
        )
    ]
