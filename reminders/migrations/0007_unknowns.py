"""What is not known of a coat, and what knowing it would take off the window."""

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ("reminders", "0006_step_purposes"),
    ]

    operations = [
        migrations.AddField(
            model_name='forecast',
            name='unknowns',
            field=models.JSONField(default=dict, help_text='What is not known → months that knowing it takes off the window.'),
        ),
    ]
