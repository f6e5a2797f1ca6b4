"""Documents of the search by fewer function calls; what they hold is the same."""

import re
from pathlib import Path

from django.db import migrations

FROM_DAY = "coalesce(j.finished_from, j.finished_on)"  # as 0012 has it


def functions():
    text = Path(__file__).with_name("search_fewer_calls.sql").read_text()
    return text.replace("{from_day}", FROM_DAY)


def earlier_functions():
    text = Path(__file__).with_name("search_times.sql").read_text().replace("{from_day}", FROM_DAY)
    return re.search(r"CREATE OR REPLACE FUNCTION search_documents\b.*?\$\$;", text, re.DOTALL)[0]


class Migration(migrations.Migration):
    dependencies = [
        ("jobs", "0028_drawn_signature"),
    ]
    operations = [migrations.RunSQL(functions(), earlier_functions())]
