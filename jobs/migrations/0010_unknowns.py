"""What nobody knows may stay so: the day of a job, the product and the number of its coats.

The view of coats and the count of the coat build are made again: a finish without a product counts,
and one whose coats nobody counted counts as one. The search reads the colour of such a finish too.
"""

import re
from datetime import date
from importlib import import_module
from pathlib import Path

import django.db.models.deletion
from django.db import migrations, models

earlier = import_module("jobs.migrations.0008_coat")

COAT_BUILD = """
CREATE OR REPLACE FUNCTION jobs_coat_build(deck bigint, before_day date, before_job bigint)
RETURNS TABLE (coats bigint) LANGUAGE sql STABLE AS $$
    SELECT coalesce(sum(coalesce(applied.coats, 1)), 0)
    FROM jobs_job job
    JOIN jobs_coatapplied applied ON applied.job_id = job.id
    LEFT JOIN jobs_product product ON product.id = applied.product_id
    WHERE job.deck_id = deck AND (job.finished_on, job.id) < (before_day, before_job)
        AND applied.surface IN ('boards', 'all') AND coalesce(product.kind, 'finish') = 'finish'
        AND job.finished_on >= coalesce((
            SELECT max(strip.finished_on) FROM jobs_job strip
            WHERE strip.deck_id = deck AND strip.kind = 'strip'
                AND (strip.finished_on, strip.id) < (before_day, before_job)
        ), '-infinity')
$$
"""
ON_BOARDS = "applied.surface IN ('boards', 'all')"
# Of several finishes in one job the last on the boards counts, else the last elsewhere; the number
# of coats only if all of those were counted. Each joined part is an aggregate without groups, which
# is one row, so that a query that names none of its columns is planned without it.
LAST_FINISH_FIRST = f"ORDER BY {ON_BOARDS} DESC, applied.position DESC"
COAT = f"""
CREATE VIEW jobs_coat AS
SELECT job.id AS job_id, job.deck_id, job.kind, job.finished_from AS laid_from,
    job.finished_on AS laid_on, following.laid_on AS ended_on, finish.product_id,
    finish.finish_class, finish.pigment, finish.base, finish.is_on_boards, finish.coats,
    build.coats AS build
FROM jobs_job job
LEFT JOIN LATERAL (
    SELECT min(later.finished_on) AS laid_on,
        (array_agg(later.id ORDER BY later.finished_on, later.id))[1] AS job_id
    FROM jobs_job later
    WHERE later.deck_id = job.deck_id AND later.kind IN ('strip', 'recoat')
        AND (later.finished_on, later.id) > (job.finished_on, job.id)
) AS following ON true
LEFT JOIN LATERAL (
    SELECT (array_agg(applied.product_id {LAST_FINISH_FIRST}))[1] AS product_id,
        coalesce((array_agg(product.finish_class {LAST_FINISH_FIRST}))[1], '') AS finish_class,
        coalesce((array_agg(product.pigment {LAST_FINISH_FIRST}))[1], '') AS pigment,
        coalesce((array_agg(product.base {LAST_FINISH_FIRST}))[1], '') AS base,
        bool_or({ON_BOARDS}) AS is_on_boards,
        CASE WHEN bool_or({ON_BOARDS}) THEN
            CASE WHEN bool_and(applied.coats IS NOT NULL) FILTER (WHERE {ON_BOARDS})
                THEN sum(applied.coats) FILTER (WHERE {ON_BOARDS}) END
        WHEN bool_and(applied.coats IS NOT NULL) THEN sum(applied.coats) END AS coats
    FROM jobs_coatapplied applied LEFT JOIN jobs_product product ON product.id = applied.product_id
    WHERE applied.job_id = job.id AND coalesce(product.kind, 'finish') = 'finish'
) AS finish ON true
LEFT JOIN LATERAL jobs_coat_build(
    job.deck_id, coalesce(following.laid_on, 'infinity'), coalesce(following.job_id, 0)
) AS build ON true
WHERE job.kind IN ('strip', 'recoat')
"""


def search_documents():
    """The one function of the search that reads products, as it stands in the file now."""
    text = Path(__file__).with_name("search_words.sql").read_text()
    found = re.search(r"CREATE (FUNCTION search_documents.*?\$\$;)", text, re.DOTALL)
    return f"CREATE OR REPLACE {found[1]}"


def without_unknowns(apps, schema_editor):
    """Going back is possible only while nothing unknown has been written."""
    Job = apps.get_model("jobs", "Job")
    CoatApplied = apps.get_model("jobs", "CoatApplied")
    unknown = models.Q(product=None) | models.Q(coats=None)
    if Job.objects.exclude(finished_from=None).exists() or CoatApplied.objects.filter(unknown).exists():
        raise RuntimeError(
            "Jobs of this book have days, products or coats that are not known. The older version"
            " has no place for them."
        )


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0009_site"),
    ]

    operations = [
        migrations.RunSQL("DROP VIEW jobs_coat", earlier.COAT),
        migrations.AddField(
            "job",
            "finished_from",
            models.DateField(
                "first possible day",
                null=True,
                blank=True,
                help_text="Where only the month, season or year is known; empty where the day is.",
            ),
        ),
        migrations.AlterField(
            "job",
            "finished_on",
            models.DateField(help_text="The day, or the last possible one."),
        ),
        migrations.AddConstraint(
            "job",
            models.CheckConstraint(
                name="job_span_begins_before_it_ends",
                condition=models.Q(finished_from=None)
                | models.Q(
                    finished_from__gte=date(1950, 1, 1), finished_from__lt=models.F("finished_on")
                ),
            ),
        ),
        migrations.AlterField(
            "coatapplied",
            "product",
            models.ForeignKey(
                null=True,
                blank=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="coats_applied",
                to="jobs.product",
            ),
        ),
        migrations.AlterField(
            "coatapplied",
            "coats",
            models.PositiveSmallIntegerField(default=1, null=True, blank=True),
        ),
        migrations.RemoveConstraint("coatapplied", "coats_from_1_to_10"),
        migrations.AddConstraint(
            "coatapplied",
            models.CheckConstraint(
                name="coats_from_1_to_10",
                condition=models.Q(coats=None) | models.Q(coats__gte=1, coats__lte=10),
            ),
        ),
        migrations.AddConstraint(
            "coatapplied",
            models.CheckConstraint(
                name="coat_batch_is_of_a_product",
                condition=models.Q(batch=None) | ~models.Q(product=None),
            ),
        ),
        migrations.RunPython(migrations.RunPython.noop, without_unknowns),
        migrations.RunSQL(COAT_BUILD, f"DROP FUNCTION jobs_coat_build; {earlier.COAT_BUILD}"),
        migrations.RunSQL(COAT, "DROP VIEW jobs_coat"),
        migrations.RunSQL(search_documents(), migrations.RunSQL.noop),
    ]
