import django.db.models.lookups
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0036_can_codes")]

    operations = [
        migrations.CreateModel(
            name="ExpectedWeather",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("latitude", models.DecimalField(decimal_places=2, max_digits=4)),
                ("longitude", models.DecimalField(decimal_places=2, max_digits=5)),
                (
                    "source",
                    models.CharField(
                        help_text="The owner's address, with its fields.", max_length=300
                    ),
                ),
                (
                    "spells",
                    models.JSONField(
                        default=list,
                        help_text="Rows of begin, hours, °C, % humidity, mm of rain or null.",
                    ),
                ),
                (
                    "fetched_at",
                    models.DateTimeField(
                        help_text="When the source last told, or confirmed, these hours.", null=True
                    ),
                ),
                (
                    "last_modified",
                    models.CharField(
                        blank=True,
                        help_text="The source's own word for it, sent back as it is.",
                        max_length=100,
                    ),
                ),
                ("ask_not_before", models.DateTimeField()),
                (
                    "why_refused",
                    models.CharField(
                        blank=True, help_text="Why the last try brought nothing.", max_length=300
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "expected weather",
                "ordering": ["latitude", "longitude"],
                "constraints": [
                    models.UniqueConstraint(
                        fields=("latitude", "longitude"), name="expected_weather_once_a_spot"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("latitude__range", (-90, 90)), ("longitude__range", (-180, 180))
                        ),
                        name="expected_weather_on_earth",
                    ),
                    models.CheckConstraint(
                        condition=django.db.models.lookups.Exact(
                            models.Func(
                                models.F("spells"),
                                function="jsonb_typeof",
                                output_field=models.TextField(),
                            ),
                            models.Value("array"),
                        ),
                        name="expected_weather_is_a_list",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("fetched_at", None), ("spells", [])),
                            models.Q(
                                ("fetched_at__isnull", False),
                                models.Q(("spells", []), _negated=True),
                            ),
                            _connector="OR",
                        ),
                        name="expected_weather_told_once_fetched",
                    ),
                ],
            },
        ),
    ]
