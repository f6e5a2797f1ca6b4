"""An offer that begins with a look names both prices."""

from django.db import migrations, models
from django.db.models import Q


class Migration(migrations.Migration):
    dependencies = [("jobs", "0014_visit_observer")]

    operations = [
        migrations.AddField(
            model_name="offerscope",
            name="recoat_total",
            field=models.DecimalField(blank=True, decimal_places=2, max_digits=10, null=True),
        ),
        migrations.AddField(
            model_name="offerscope",
            name="strip_total",
            field=models.DecimalField(
                blank=True,
                decimal_places=2,
                help_text=(
                    "Where a look decides: what the deck alone costs either way, tax included."
                ),
                max_digits=10,
                null=True,
            ),
        ),
        migrations.AddConstraint(
            model_name="offerscope",
            constraint=models.CheckConstraint(
                condition=Q(recoat_total=None, strip_total=None)
                | Q(recoat_total__isnull=False, strip_total__isnull=False, work="recoat"),
                name="scope_look_names_both_prices",
            ),
        ),
    ]
