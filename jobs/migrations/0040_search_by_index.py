"""What is written again for some clients is found by indexes; the whole of the entries was read for
each few hundred of them, and by a planner that takes an index for dearer than it is."""

import re
from pathlib import Path

from django.db import migrations


def earlier_function():
    text = Path(__file__).with_name("search_times.sql").read_text()
    return re.search(r"CREATE OR REPLACE FUNCTION search_refresh\b.*?END \$\$;", text, re.DOTALL)[0]


def function():
    return (
        earlier_function()
        .replace("plpgsql AS", "plpgsql SET random_page_cost = 1.1 AS")
        .replace("deck_id IN (", "deck_id = ANY (ARRAY(")
        .replace("(client_ids)\n    );", "(client_ids)\n    ));")
    )


class Migration(migrations.Migration):
    dependencies = [("jobs", "0039_statement_of_cancelling")]
    operations = [migrations.RunSQL(function(), earlier_function())]
