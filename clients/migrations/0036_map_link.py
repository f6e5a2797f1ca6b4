import clients.notation.map_links
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('clients', '0035_weather_source'),
    ]

    operations = [
        migrations.AddField(
            model_name='business',
            name='map_link',
            field=models.CharField(blank=True, db_default='', default='', help_text="What Map opens: its address with {address}, or {lat} and {lon}. Empty means the phone’s own map.", max_length=300, validators=[clients.notation.map_links.validate_map_link], verbose_name='map on the web'),
        ),
        migrations.AddConstraint(
            model_name='business',
            constraint=models.CheckConstraint(condition=models.Q(('map_link', ''), ('map_link__startswith', 'https://'), _connector='OR'), name='business_map_link_is_https'),
        ),
    ]
