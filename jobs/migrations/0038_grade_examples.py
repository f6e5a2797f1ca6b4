import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0037_expected_weather'),
    ]

    operations = [
        migrations.AddField(
            model_name='visit',
            name='form_key',
            field=models.UUIDField(editable=False, help_text='Its photographs follow by it.', null=True, unique=True),
        ),
        migrations.CreateModel(
            name='GradeExample',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('overall', 'all in all'), ('greying', 'fading or greying'), ('beading', 'water no longer beads'), ('flaking', 'peeling'), ('cracking', 'cracking'), ('mould', 'mould or algae')], max_length=8)),
                ('grade', models.PositiveSmallIntegerField()),
                ('photo', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='grade_examples', to='jobs.photo')),
                ('visit', models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='grade_examples', to='jobs.visit')),
            ],
            options={
                'ordering': ['kind', 'grade'],
                'constraints': [models.CheckConstraint(condition=models.Q(('kind__in', ['overall', 'greying', 'beading', 'flaking', 'cracking', 'mould'])), name='grade_example_kind_known'), models.CheckConstraint(condition=models.Q(('grade__lte', 5)), name='grade_example_from_0_to_5'), models.UniqueConstraint(fields=('kind', 'grade'), name='grade_example_once_a_kind_and_grade'), models.UniqueConstraint(fields=('photo', 'kind'), name='grade_example_one_grade_a_photo_and_kind')],
            },
        ),
    ]
