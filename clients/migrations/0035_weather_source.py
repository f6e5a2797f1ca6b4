from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("clients", "0034_upload_parts")]

    operations = [
        migrations.AddField(
            model_name="business",
            name="weather_source",
            field=models.CharField(
                blank=True,
                default="",
                help_text="An address with {lat} and {lon} in it; empty asks nobody.",
                max_length=300,
                verbose_name="where the weather of the days ahead is from",
            ),
        ),
        migrations.AddConstraint(
            model_name="business",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("weather_source", ""),
                    models.Q(
                        ("weather_source__regex", "[{]lat[}]"),
                        ("weather_source__regex", "[{]lon[}]"),
                    ),
                    _connector="OR",
                ),
                name="business_weather_source_takes_a_place",
            ),
        ),
    ]
