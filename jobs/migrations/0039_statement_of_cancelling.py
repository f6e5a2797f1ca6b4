from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0038_grade_examples'),
    ]

    operations = [
        migrations.AddField(
            model_name='offerterms',
            name='right_to_cancel',
            field=models.TextField(blank=True, help_text='If its law prescribes the words: the whole statement as the regulation has it, its heading in the first line, your address where it wants one, and its form if it has one. It stands on a page of its own, in the place of our words.', max_length=8000, verbose_name='right to cancel, in the words of your province'),
        ),
    ]
