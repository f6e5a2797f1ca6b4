"""Words are folded by Unicode's own rules, so that a name is found however it is typed.

Compatibility decomposition (NFKD, UAX #15), small letters, and no marks (general category M): vowel
signs of Arabic and Hebrew, accents that are characters of their own. Letters that do not decompose,
such as ł, đ and ø, are left to `unaccent`, as before. Final sigma is a sigma (full case folding,
CaseFolding.txt), and the line that only stretches an Arabic word is none of its letters.
"""

import unicodedata

from django.db import migrations

LAST_OF_THE_FIRST_PLANE = 0xFFFF


def mark_ranges():
    """All marks of the first plane, as the inside of a bracket expression."""
    found = []
    for code in range(LAST_OF_THE_FIRST_PLANE + 1):
        if not unicodedata.category(chr(code)).startswith("M"):
            continue
        if found and found[-1][1] == code - 1:
            found[-1][1] = code
        else:
            found.append([code, code])
    return "".join(rf"\u{first:04X}-\u{last:04X}" for first, last in found)


EARLIER = """
CREATE OR REPLACE FUNCTION fold(words text) RETURNS text
LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE
RETURN lower(public.unaccent('public.unaccent'::regdictionary, words));
"""
FOLD = f"""
CREATE OR REPLACE FUNCTION fold(words text) RETURNS text
LANGUAGE sql IMMUTABLE STRICT PARALLEL SAFE
RETURN CASE
    WHEN octet_length(words) = char_length(words) THEN lower(words)
    ELSE translate(regexp_replace(
        lower(public.unaccent('public.unaccent'::regdictionary, normalize(words, NFKD))),
        '[{mark_ranges()}]+', '', 'g'
    ), 'ςـ', 'σ')
END;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("clients", "0014_unknowns"),
    ]
    operations = [migrations.RunSQL(FOLD, EARLIER)]
