"""The attribute is named after the field's word; the column stays as it was."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0008_coat")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RenameField("booking", "property", "site"),
                migrations.AlterField(
                    "booking",
                    "site",
                    models.ForeignKey(
                        db_column="property_id",
 verbose_name="property",
                        on_delete=models.PROTECT,
                        related_name="bookings",
                        to="clients.property",
                    ),
                ),
                migrations.RenameField("offer", "property", "site"),
                migrations.AlterField(
                    "offer",
                    "site",
                    models.ForeignKey(
                        db_column="property_id",
 verbose_name="property",
                        on_delete=models.PROTECT,
                        related_name="offers",
                        to="clients.property",
                    ),
                ),
            ]
        )
    ]
