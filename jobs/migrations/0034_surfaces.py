"""A product that went on says on which surfaces: a list in the place of one surface or "all".

The view of coats and the count of the coat build are made again by it: a coat is one on the boards,
and a job that was on rails, stairs or screens alone neither is one nor ends one.

The release before serves while this one migrates: the column `surface` stays for it, what it writes
there is read into `surfaces`, and columns that it does not know have defaults. The next release
drops the column and its trigger.
"""

from importlib import import_module

import django.contrib.postgres.fields
from django.db import migrations, models
from django.db.models import Q

import jobs.models.job

earlier = import_module("jobs.migrations.0010_unknowns")

SURFACES = ["boards", "stairs", "rails", "screens"]
AS_LIST = """CASE {surface} WHEN 'all'
    THEN ARRAY['boards', 'stairs', 'rails', 'screens'] ELSE ARRAY[{surface}] END"""
FILL = f"""
SET LOCAL restorer.search_later = 'on';
UPDATE jobs_coatapplied SET surfaces = {AS_LIST.format(surface="surface")}
WHERE surface <> 'boards'
"""
FOR_THE_RELEASE_BEFORE = f"""
ALTER TABLE jobs_coatapplied
    ALTER COLUMN surface SET DEFAULT 'boards',
    ALTER COLUMN surfaces SET DEFAULT ARRAY['boards']::varchar(7)[];
ALTER TABLE jobs_offerscope ALTER COLUMN surfaces SET DEFAULT ARRAY[]::varchar(7)[];
CREATE FUNCTION jobs_coat_surfaces() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    NEW.surfaces := {AS_LIST.format(surface="NEW.surface")};
    RETURN NEW;
END $$;
CREATE TRIGGER coat_surfaces BEFORE INSERT OR UPDATE OF surface ON jobs_coatapplied
    FOR EACH ROW WHEN (NEW.surface <> 'boards') EXECUTE FUNCTION jobs_coat_surfaces()
"""
FOR_IT_NO_MORE = """
DROP TRIGGER coat_surfaces ON jobs_coatapplied;
DROP FUNCTION jobs_coat_surfaces()
"""
EMPTY = """
SET LOCAL restorer.search_later = 'on';
UPDATE jobs_coatapplied SET surface = CASE WHEN cardinality(surfaces) = 1 THEN surfaces[1]
    WHEN 'boards' = ANY (surfaces) THEN 'all' ELSE surfaces[1] END
WHERE surfaces <> ARRAY['boards']::varchar[]
"""
ON_BOARDS = "'boards' = ANY (applied.surfaces)"
IS_FINISH = "coalesce(product.kind, 'finish') = 'finish'"
APPLIED = """jobs_coatapplied applied
        LEFT JOIN jobs_product product ON product.id = applied.product_id"""
# By its finishes, else by all its products; where no product is noted, the work was on the boards.
# Few products go elsewhere alone, and an index names them: for all other jobs that is all that is
# asked.
COVERS_BOARDS = f"""(NOT EXISTS (
        SELECT FROM jobs_coatapplied elsewhere WHERE elsewhere.job_id = {{job}}.id
            AND NOT (elsewhere.surfaces @> ARRAY['boards']::varchar(7)[])
    ) OR (
        SELECT coalesce(bool_or({ON_BOARDS}) FILTER (WHERE {IS_FINISH}), bool_or({ON_BOARDS}))
        FROM {APPLIED} WHERE applied.job_id = {{job}}.id
    ))"""
COAT_BUILD = f"""
CREATE OR REPLACE FUNCTION jobs_coat_build(deck bigint, before_day date, before_job bigint)
RETURNS TABLE (coats bigint) LANGUAGE sql STABLE AS $$
    SELECT coalesce(sum(coalesce(applied.coats, 1)), 0)
    FROM jobs_job job
    JOIN jobs_coatapplied applied ON applied.job_id = job.id
    LEFT JOIN jobs_product product ON product.id = applied.product_id
    WHERE job.deck_id = deck AND (job.finished_on, job.id) < (before_day, before_job)
        AND {ON_BOARDS} AND {IS_FINISH}
        AND job.finished_on >= coalesce((
            SELECT max(strip.finished_on) FROM jobs_job strip
            WHERE strip.deck_id = deck AND strip.kind = 'strip'
                AND (strip.finished_on, strip.id) < (before_day, before_job)
                AND {COVERS_BOARDS.format(job="strip")}
        ), '-infinity')
$$
"""
# Of several finishes in one job the last counts; the number of coats only if all were counted. Each
# joined part is an aggregate without groups, which is one row, so that a query that names none of
# its columns is planned without it.
LAST_FIRST = "ORDER BY applied.position DESC"
COAT = f"""
CREATE VIEW jobs_coat AS
SELECT job.id AS job_id, job.deck_id, job.kind, job.finished_from AS laid_from,
    job.finished_on AS laid_on, following.laid_on AS ended_on, finish.product_id,
    finish.finish_class, finish.pigment, finish.base, finish.is_recorded, finish.coats,
    build.coats AS build
FROM jobs_job job
LEFT JOIN LATERAL (
    SELECT min(later.finished_on) AS laid_on,
        (array_agg(later.id ORDER BY later.finished_on, later.id))[1] AS job_id
    FROM jobs_job later
    WHERE later.deck_id = job.deck_id AND later.kind IN ('strip', 'recoat')
        AND (later.finished_on, later.id) > (job.finished_on, job.id)
        AND {COVERS_BOARDS.format(job="later")}
) AS following ON true
LEFT JOIN LATERAL (
    SELECT (array_agg(applied.product_id {LAST_FIRST}))[1] AS product_id,
        coalesce((array_agg(product.finish_class {LAST_FIRST}))[1], '') AS finish_class,
        coalesce((array_agg(product.pigment {LAST_FIRST}))[1], '') AS pigment,
        coalesce((array_agg(product.base {LAST_FIRST}))[1], '') AS base,
        count(*) > 0 AS is_recorded,
        CASE WHEN bool_and(applied.coats IS NOT NULL) THEN sum(applied.coats) END AS coats
    FROM {APPLIED}
    WHERE applied.job_id = job.id AND {IS_FINISH} AND {ON_BOARDS}
) AS finish ON true
LEFT JOIN LATERAL jobs_coat_build(
    job.deck_id, coalesce(following.laid_on, 'infinity'), coalesce(following.job_id, 0)
) AS build ON true
WHERE job.kind IN ('strip', 'recoat') AND {COVERS_BOARDS.format(job="job")}
"""


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0033_quick_lists"),
    ]

    operations = [
        migrations.RunSQL("DROP VIEW jobs_coat", [earlier.COAT_BUILD, earlier.COAT]),
        migrations.AddField(
            "coatapplied",
            "surfaces",
            django.contrib.postgres.fields.ArrayField(
                base_field=models.CharField(
                    max_length=7,
                    choices=[
                        ("boards", "Deck boards"),
                        ("stairs", "Stairs"),
                        ("rails", "Railing"),
                        ("screens", "Privacy screens"),
                    ],
                ),
                default=jobs.models.job.boards_alone,
                help_text="What of the deck it went on, the boards first.",
                size=None,
            ),
        ),
        migrations.AddField(
            "offerscope",
            "surfaces",
            django.contrib.postgres.fields.ArrayField(
                base_field=models.CharField(
                    max_length=7,
                    choices=[
                        ("boards", "Deck boards"),
                        ("stairs", "Stairs"),
                        ("rails", "Railing"),
                        ("screens", "Privacy screens"),
                    ],
                ),
                default=list,
                blank=True,
                help_text="What is worked on; none noted means all that the deck has.",
                size=None,
            ),
        ),
        migrations.RunSQL(FILL, migrations.RunSQL.noop),
        migrations.RunSQL(migrations.RunSQL.noop, EMPTY),
        migrations.SeparateDatabaseAndState([], [migrations.RemoveField("coatapplied", "surface")]),
        migrations.RunSQL(FOR_THE_RELEASE_BEFORE, FOR_IT_NO_MORE),
        migrations.AddConstraint(
            "coatapplied",
            models.CheckConstraint(
                name="coat_is_on_known_surfaces",
                condition=Q(surfaces__contained_by=SURFACES) & ~Q(surfaces=[]),
            ),
        ),
        migrations.AddIndex(
            "coatapplied",
            models.Index(
                fields=["job"],
                condition=~Q(surfaces__contains=["boards"]),
                name="coat_elsewhere_by_job",
            ),
        ),
        migrations.AddIndex(
            "coatapplied",
            models.Index(
                fields=["job"],
                condition=~Q(surfaces=["boards"]),
                name="coat_beyond_boards_by_job",
            ),
        ),
        migrations.RunSQL(COAT_BUILD, migrations.RunSQL.noop),
        migrations.RunSQL(COAT, "DROP VIEW jobs_coat"),
    ]
