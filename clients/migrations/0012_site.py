"""The attribute is named after the field's word; the column stays as it was."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("clients", "0011_what_comes_back")]

    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.RemoveConstraint("deck", "deck_label_once_a_property"),
                migrations.RenameField("deck", "property", "site"),
                migrations.AlterField(
                    "deck",
                    "site",
                    models.ForeignKey(
                        db_column="property_id",
 verbose_name="property",
                        on_delete=models.PROTECT,
                        related_name="decks",
                        to="clients.property",
                    ),
                ),
                migrations.AddConstraint(
                    "deck",
                    models.UniqueConstraint(
                        fields=["site", "label"], name="deck_label_once_a_property"
                    ),
                ),
                migrations.AlterModelOptions("deck", {"ordering": ["site__client__name", "site_id", "label", "id"]}),
            ]
        )
    ]
