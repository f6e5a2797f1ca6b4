"""The functions and triggers that keep the search words (in a migration of their own: they need the constraint)."""

from pathlib import Path

from django.db import migrations

DECKS = "clients_deck d JOIN clients_property p ON p.id = d.property_id"
TOUCHED = {
    "clients_client": "SELECT id AS client_id FROM changed",
    "clients_contactpoint": "SELECT client_id FROM changed",
    "clients_property": "SELECT client_id FROM changed",
    "clients_deck": "SELECT p.client_id FROM changed c JOIN clients_property p ON p.id = c.property_id",
    "jobs_job": f"SELECT p.client_id FROM changed c JOIN {DECKS} ON d.id = c.deck_id",
    "jobs_visit": f"SELECT p.client_id FROM changed c JOIN {DECKS} ON d.id = c.deck_id",
    "jobs_coatapplied": f"SELECT p.client_id FROM changed c JOIN jobs_job j ON j.id = c.job_id JOIN {DECKS} ON d.id = j.deck_id",
    "jobs_product": f"SELECT p.client_id FROM changed c JOIN jobs_coatapplied a ON a.product_id = c.id JOIN jobs_job j ON j.id = a.job_id JOIN {DECKS} ON d.id = j.deck_id",
    "jobs_batch": f"SELECT p.client_id FROM changed c JOIN jobs_coatapplied a ON a.batch_id = c.id JOIN jobs_job j ON j.id = a.job_id JOIN {DECKS} ON d.id = j.deck_id",
}
SIDES = {
    "insert": "NEW TABLE AS changed",
    "update": "OLD TABLE AS earlier NEW TABLE AS changed",
    "delete": "OLD TABLE AS changed",
}


def triggers():
    for table, touched in TOUCHED.items():
        for event, sides in SIDES.items():
            # An update may move a row from one client to another: both change.
            both = f"{touched} UNION ALL {touched.replace('FROM changed', 'FROM earlier')}"
            query = both if event == "update" else touched
            yield (
                f"CREATE TRIGGER {table}_search_{event} AFTER {event.upper()} ON {table} "
                f"REFERENCING {sides} FOR EACH STATEMENT EXECUTE FUNCTION search_changed('{query}');",
                f"DROP TRIGGER {table}_search_{event} ON {table};",
            )


def functions():
    return Path(__file__).with_name("search_words.sql").read_text()


UNDO = """
DROP FUNCTION search_changed(); DROP FUNCTION search_refresh(bigint[]); DROP FUNCTION search_documents(bigint[]);
DROP FUNCTION code_words(text, text); DROP FUNCTION number_endings(text); DROP FUNCTION weighted_words(text, text);
"""


class Migration(migrations.Migration):
    dependencies = [("jobs", "0002_search")]
    operations = [
        migrations.RunSQL(functions(), UNDO),
        *[migrations.RunSQL(create, drop) for create, drop in triggers()],
        migrations.RunSQL("SELECT search_refresh(NULL);", migrations.RunSQL.noop),
    ]
