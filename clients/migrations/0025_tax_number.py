"""The number under which the business pays taxes stands on its offers."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [('clients', '0024_received_forms')]

    operations = [
        migrations.AddField(
            model_name="business",
            name="tax_number",
            field=models.CharField(
                blank=True,
                help_text=(
                    "As it should stand on offers, with its name: HST 12345 6789 RT0001."
                ),
                max_length=80,
                verbose_name="tax or business number",
            ),
        )
    ]
