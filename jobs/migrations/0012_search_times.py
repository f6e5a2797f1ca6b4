"""The search knows time: years, months, seasons and kinds of work, products by year, species, town
and what is archived. A refresh of all is planned with statistics, so that a bulk load stays linear.
"""

import re
from pathlib import Path

from django.db import migrations

# A job of which only the month or year is known counts for all of it.
FROM_DAY = "coalesce(j.finished_from, j.finished_on)"


def functions():
    text = Path(__file__).with_name("search_times.sql").read_text()
    return text.replace("{from_day}", FROM_DAY)


def earlier_functions():
    """Both functions as they stood before; what came with them goes."""
    text = Path(__file__).with_name("search_words.sql").read_text()
    found = [
        re.search(rf"CREATE (FUNCTION {name}\b.*?\$\$;)", text, re.DOTALL)[1]
        for name in ("search_documents", "search_refresh")
    ]
    found = [f"CREATE OR REPLACE {each}" for each in found]
    return " ".join(found) + (
        " DROP FUNCTION search_analyze(); DROP FUNCTION value_lexeme(text, text);"
        " DROP FUNCTION job_lexemes(date, date, text, boolean);"
    )


REFRESH = "SELECT search_refresh(NULL);"


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0011_list_imports"),
        ("clients", "0015_fold_by_unicode"),
    ]
    operations = [
        migrations.RunSQL(migrations.RunSQL.noop, REFRESH),
        migrations.RunSQL(functions(), earlier_functions()),
        migrations.RunSQL(REFRESH, migrations.RunSQL.noop),
    ]
