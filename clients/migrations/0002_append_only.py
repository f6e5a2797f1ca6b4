"""Consent and the steps of a message are append-only: the database itself refuses changes.

Erasing a client for good is the one exception and must say so: SET LOCAL restorer.erasing = 'on'.
"""

from django.db import migrations

REFUSE = """
CREATE FUNCTION refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF current_setting('restorer.erasing', true) = 'on' THEN
        RETURN CASE TG_OP WHEN 'DELETE' THEN OLD ELSE NEW END;
    END IF;
    RAISE EXCEPTION '% is append-only: add a row that says otherwise', TG_TABLE_NAME
        USING ERRCODE = 'integrity_constraint_violation';
END $$;
"""
TRIGGERS = "".join(
    f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table}"
    " FOR EACH ROW EXECUTE FUNCTION refuse_change();\n"
    for table in ("clients_consent", "clients_messageevent")
)
UNDO = """
DROP TRIGGER clients_consent_append_only ON clients_consent;
DROP TRIGGER clients_messageevent_append_only ON clients_messageevent;
DROP FUNCTION refuse_change();
"""


class Migration(migrations.Migration):
    dependencies = [("clients", "0001_initial")]
    operations = [migrations.RunSQL(REFUSE + TRIGGERS, UNDO)]
