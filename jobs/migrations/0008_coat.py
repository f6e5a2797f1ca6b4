"""The view of coats, and the one count of the coat build that it and the code share.

Tables that a view reads cannot change the type of a column that it reads: a later migration that
does so drops the view first and makes it again.
"""

from django.db import migrations, models
from django.db.models import DO_NOTHING

# PostgreSQL puts the text of the function into the query that calls it (one SELECT, stable), so it
# costs no call, and leaves it out where the build is not asked for.
COAT_BUILD = """
CREATE FUNCTION jobs_coat_build(deck bigint, before_day date, before_job bigint)
RETURNS TABLE (coats bigint) LANGUAGE sql STABLE AS $$
    SELECT coalesce(sum(applied.coats), 0)
    FROM jobs_job job
    JOIN jobs_coatapplied applied ON applied.job_id = job.id
    JOIN jobs_product product ON product.id = applied.product_id
    WHERE job.deck_id = deck AND (job.finished_on, job.id) < (before_day, before_job)
        AND applied.surface IN ('boards', 'all') AND product.kind = 'finish'
        AND job.finished_on >= coalesce((
            SELECT max(strip.finished_on) FROM jobs_job strip
            WHERE strip.deck_id = deck AND strip.kind = 'strip'
                AND (strip.finished_on, strip.id) < (before_day, before_job)
        ), '-infinity')
$$
"""
# Of several finishes in one job the last on the boards counts, else the last elsewhere. Each joined
# part is an aggregate without groups, which is one row, so that a query that names none of its
# columns is planned without it.
LAST_FINISH_FIRST = "ORDER BY applied.surface IN ('boards', 'all') DESC, applied.position DESC"
COAT = f"""
CREATE VIEW jobs_coat AS
SELECT job.id AS job_id, job.deck_id, job.kind, job.finished_on AS laid_on,
    following.laid_on AS ended_on, finish.product_id, finish.finish_class, finish.pigment,
    finish.base, finish.is_on_boards, finish.coats, build.coats AS build
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
        bool_or(applied.surface IN ('boards', 'all')) AS is_on_boards,
        coalesce(sum(applied.coats) FILTER (WHERE applied.surface IN ('boards', 'all')),
            sum(applied.coats)) AS coats
    FROM jobs_coatapplied applied JOIN jobs_product product ON product.id = applied.product_id
    WHERE applied.job_id = job.id AND product.kind = 'finish'
) AS finish ON true
LEFT JOIN LATERAL jobs_coat_build(
    job.deck_id, coalesce(following.laid_on, 'infinity'), coalesce(following.job_id, 0)
) AS build ON true
WHERE job.kind IN ('strip', 'recoat')
"""


class Migration(migrations.Migration):
    dependencies = [
        ("clients", "0008_signing_keys"),
        ("jobs", "0007_booking_arrival"),
    ]

    operations = [
        migrations.RunSQL(COAT_BUILD, "DROP FUNCTION jobs_coat_build"),
        migrations.RunSQL(COAT, "DROP VIEW jobs_coat"),
        migrations.CreateModel(
            name="Coat",
            fields=[
                (
                    "job",
                    models.OneToOneField(
                        on_delete=DO_NOTHING,
                        primary_key=True,
                        related_name="coat",
                        serialize=False,
                        to="jobs.job",
                    ),
                ),
                (
                    "deck",
                    models.ForeignKey(
                        on_delete=DO_NOTHING, related_name="coats", to="clients.deck"
                    ),
                ),
                ("kind", models.CharField(max_length=6)),
                ("laid_on", models.DateField()),
                ("ended_on", models.DateField(null=True)),
                (
                    "product",
                    models.ForeignKey(
                        null=True, on_delete=DO_NOTHING, related_name="+", to="jobs.product"
                    ),
                ),
                ("finish_class", models.CharField(max_length=24)),
                ("pigment", models.CharField(max_length=5)),
                ("base", models.CharField(max_length=7)),
                ("is_on_boards", models.BooleanField(null=True)),
                ("coats", models.PositiveSmallIntegerField(null=True)),
                ("build", models.PositiveSmallIntegerField()),
            ],
            options={
                "db_table": "jobs_coat",
                "ordering": ["-laid_on", "-job_id"],
                "managed": False,
            },
        ),
    ]
