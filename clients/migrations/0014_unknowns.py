"""A deck whose size or timber nobody knows."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("clients", "0013_inbound_tries"),
    ]

    operations = [
        migrations.AlterField(
            model_name='deck',
            name='area_m2',
            field=models.DecimalField(blank=True, decimal_places=2, help_text='Deck boards; empty while the size is not known.', max_digits=8, null=True, verbose_name='area'),
        ),
        migrations.AlterField(
            model_name='deck',
            name='species',
            field=models.CharField(choices=[('unknown', 'Timber not known'), ('treated_pine', 'Treated pine'), ('spruce', 'Spruce'), ('douglas_fir', 'Douglas fir'), ('larch', 'Larch'), ('cypress', 'Cypress pine'), ('red_cedar', 'Western red cedar'), ('white_cedar', 'Eastern white cedar'), ('redwood', 'Redwood'), ('oak', 'Oak'), ('teak', 'Teak'), ('ipe', 'Ipe'), ('cumaru', 'Cumaru'), ('merbau', 'Merbau (kwila)'), ('jarrah', 'Jarrah'), ('spotted_gum', 'Spotted gum'), ('blackbutt', 'Blackbutt'), ('modified', 'Heat-treated or acetylated timber'), ('other_softwood', 'Other softwood'), ('other_hardwood', 'Other hardwood')], default='unknown', max_length=20),
        ),
    ]
