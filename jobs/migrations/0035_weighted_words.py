"""The words of a text are marked by replacing what stands between them. Taken apart and put
together again, word by word, they were half of what writing for the search takes."""

from django.db import migrations

REPLACED = r"""
CREATE OR REPLACE FUNCTION weighted_words(words text, weight text) RETURNS text
LANGUAGE plpgsql IMMUTABLE PARALLEL SAFE AS $$
DECLARE plain text := btrim(regexp_replace(fold(coalesce(words, '')), '[^[:alnum:]]+', ' ', 'g'));
BEGIN
    IF length(plain) > 60 THEN
        plain := btrim(regexp_replace(' ' || plain || ' ', ' [^ ]{61,}(?= )', '', 'g'));
    END IF;
    IF plain = '' THEN
        RETURN '';
    END IF;
    RETURN replace(plain, ' ', ':1' || weight || ' ') || ':1' || weight;
END $$
"""
TAKEN_APART = """
CREATE OR REPLACE FUNCTION weighted_words(words text, weight text) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE
RETURN (
    SELECT coalesce(string_agg(word || ':1' || weight, ' '), '')
    FROM regexp_split_to_table(fold(coalesce(words, '')), '[^[:alnum:]]+') AS word
    WHERE word <> '' AND length(word) <= 60
)
"""


class Migration(migrations.Migration):
    dependencies = [("jobs", "0034_surfaces")]

    operations = [migrations.RunSQL(REPLACED, TAKEN_APART)]
