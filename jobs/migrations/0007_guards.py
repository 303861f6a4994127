"""Triggers that keep what was recorded as it was recorded, on SQLite and PostgreSQL.

A later migration that alters a guarded table must install the table's guards again on SQLite, where altering a
table means making it anew without its triggers; a test counts the guards after all migrations.
"""

from django.db import migrations

ENDING = ("ended_at", "ended_how", "ended_by_id", "ended_reason")

# Rows that may only be ended, once; nothing else of them ever changes.
ONLY_ENDED = (
    "jobs_beforeusecheck",
    "jobs_delivery",
    "jobs_equipmentevent",
    "jobs_estimatemapping",
    "jobs_evidence",
    "jobs_explanation",
    "jobs_fittedway",
    "jobs_functioncheck",
    "jobs_glassset",
    "jobs_identityreading",
    "jobs_lamprecord",
    "jobs_operationdone",
    "jobs_operationsclosing",
    "jobs_photodecision",
    "jobs_reading",
    "jobs_refusal",
    "jobs_scan",
    "jobs_signoff",
    "jobs_statechange",
    "jobs_statement",
    "jobs_targetidentity",
    "jobs_textlookup",
    "jobs_waiver",
)
# Rows of which nothing ever changes.
NEVER_CHANGED = (
    "jobs_assessment",
    "jobs_clockobservation",
    "jobs_findingrow",
    "jobs_keyevent",
    "jobs_logentry",
    "jobs_packetdownload",
)
# Rows that change as the work goes on but never go away.
NEVER_DELETED = (
    "jobs_certificate",
    "jobs_equipmentuse",
    "jobs_estimateline",
    "jobs_ledgerhead",
    "jobs_session",
    "jobs_sessionpart",
    "jobs_subletorder",
)
# Table: (frozen once this holds of the old row, columns that may still change then).
FROZEN_WHEN = {
    "jobs_packet": ("OLD.state = 'sealed'", ("external_timestamp",)),
    "jobs_packeditiononfile": (
        "OLD.state <> 'draft'",
        ("state", "in_force_until", "withdrawn_on", "withdrawn_reason", "withdrawn_severity"),
    ),
}
ALL_TABLES = (*ONLY_ENDED, *NEVER_CHANGED, *NEVER_DELETED, *FROZEN_WHEN)

POSTGRESQL_FUNCTIONS = """
CREATE FUNCTION guard_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  RAISE EXCEPTION '% of %: what was recorded is not changed', TG_OP, TG_TABLE_NAME
    USING ERRCODE = 'integrity_constraint_violation';
END $$;

CREATE FUNCTION guard_truncate() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE filled boolean;
BEGIN
  EXECUTE format('SELECT EXISTS (SELECT 1 FROM %I)', TG_TABLE_NAME) INTO filled;
  IF filled THEN
    RAISE EXCEPTION 'TRUNCATE of %: what was recorded is not changed', TG_TABLE_NAME
      USING ERRCODE = 'integrity_constraint_violation';
  END IF;
  RETURN NULL;
END $$;

CREATE FUNCTION guard_allow_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF to_jsonb(NEW) - TG_ARGV <> to_jsonb(OLD) - TG_ARGV THEN
    RAISE EXCEPTION 'UPDATE of %: what was recorded is not changed', TG_TABLE_NAME
      USING ERRCODE = 'integrity_constraint_violation';
  END IF;
  RETURN NEW;
END $$;

CREATE FUNCTION guard_head() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF NEW.n NOT IN (OLD.n, OLD.n + 1) OR (NEW.n = OLD.n AND NEW.hash <> OLD.hash) THEN
    RAISE EXCEPTION 'UPDATE of jobs_ledgerhead: the head moves on by one entry only'
      USING ERRCODE = 'integrity_constraint_violation';
  END IF;
  RETURN NEW;
END $$;
"""


def _postgresql(execute):
    execute(POSTGRESQL_FUNCTIONS)
    for table in ALL_TABLES:
        execute(
            f"CREATE TRIGGER guard_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION guard_truncate()"
        )
    for table in (*ONLY_ENDED, *NEVER_CHANGED, *NEVER_DELETED):
        execute(
            f"CREATE TRIGGER guard_delete BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_refuse()"
        )
    for table in NEVER_CHANGED:
        execute(
            f"CREATE TRIGGER guard_update BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_refuse()"
        )
    allowed = ", ".join(f"'{name}'" for name in ENDING)
    for table in ONLY_ENDED:
        execute(
            f"CREATE TRIGGER guard_update BEFORE UPDATE ON {table} "
            f"FOR EACH ROW WHEN (OLD.ended_at IS NULL) EXECUTE FUNCTION guard_allow_only({allowed})"
        )
        execute(
            f"CREATE TRIGGER guard_ended BEFORE UPDATE ON {table} "
            "FOR EACH ROW WHEN (OLD.ended_at IS NOT NULL AND OLD.* IS DISTINCT FROM NEW.*) "
            "EXECUTE FUNCTION guard_refuse()"
        )
    for table, (frozen, may_change) in FROZEN_WHEN.items():
        names = ", ".join(f"'{name}'" for name in may_change)
        execute(
            f"CREATE TRIGGER guard_update BEFORE UPDATE ON {table} "
            f"FOR EACH ROW WHEN ({frozen}) EXECUTE FUNCTION guard_allow_only({names})"
        )
        execute(
            f"CREATE TRIGGER guard_delete BEFORE DELETE ON {table} "
            f"FOR EACH ROW WHEN ({frozen}) EXECUTE FUNCTION guard_refuse()"
        )
    execute(
        "CREATE TRIGGER guard_thaw BEFORE UPDATE ON jobs_packeditiononfile "
        "FOR EACH ROW WHEN (OLD.state <> 'draft' AND NEW.state = 'draft') EXECUTE FUNCTION guard_refuse()"
    )
    execute(
        "CREATE TRIGGER guard_update BEFORE UPDATE ON jobs_ledgerhead "
        "FOR EACH ROW EXECUTE FUNCTION guard_head()"
    )


def _sqlite_trigger(name, table, event, condition=""):
    when = f"WHEN {condition} " if condition else ""
    return (
        f"CREATE TRIGGER {name}_{table} BEFORE {event} ON {table} FOR EACH ROW {when}"
        f"BEGIN SELECT RAISE(ABORT, '{event} of {table}: what was recorded is not changed'); END"
    )


def _sqlite(execute, columns_of):
    def differ(table, may_change=()):
        names = [name for name in columns_of(table) if name not in may_change]
        return "(" + " OR ".join(f'OLD."{name}" IS NOT NEW."{name}"' for name in names) + ")"

    for table in (*ONLY_ENDED, *NEVER_CHANGED, *NEVER_DELETED):
        execute(_sqlite_trigger("guard_delete", table, "DELETE"))
    for table in NEVER_CHANGED:
        execute(_sqlite_trigger("guard_update", table, "UPDATE"))
    for table in ONLY_ENDED:
        execute(_sqlite_trigger("guard_update", table, "UPDATE", differ(table, ENDING)))
        ended = f"OLD.ended_at IS NOT NULL AND {differ(table)}"
        execute(_sqlite_trigger("guard_ended", table, "UPDATE", ended))
    for table, (frozen, may_change) in FROZEN_WHEN.items():
        execute(_sqlite_trigger("guard_update", table, "UPDATE", f"{frozen} AND {differ(table, may_change)}"))
        execute(_sqlite_trigger("guard_delete", table, "DELETE", frozen))
    thawed = "OLD.state <> 'draft' AND NEW.state = 'draft'"
    execute(_sqlite_trigger("guard_thaw", "jobs_packeditiononfile", "UPDATE", thawed))
    jumped = "NEW.n NOT IN (OLD.n, OLD.n + 1) OR (NEW.n = OLD.n AND NEW.hash <> OLD.hash)"
    execute(_sqlite_trigger("guard_update", "jobs_ledgerhead", "UPDATE", jumped))
    # INSERT OR REPLACE deletes without any DELETE trigger.
    taken = (
        "EXISTS (SELECT 1 FROM jobs_logentry kept WHERE kept.id = NEW.id "
        "OR (kept.organisation_id = NEW.organisation_id AND kept.n = NEW.n))"
    )
    execute(_sqlite_trigger("guard_replace", "jobs_logentry", "INSERT", taken))


def install(apps, schema_editor):
    connection = schema_editor.connection
    if connection.vendor == "postgresql":
        _postgresql(lambda sql: schema_editor.execute(sql, params=None))
        return

    def columns_of(table):
        with connection.cursor() as cursor:
            return [column.name for column in connection.introspection.get_table_description(cursor, table)]

    _sqlite(lambda sql: schema_editor.execute(sql, params=None), columns_of)


def remove(apps, schema_editor):
    connection = schema_editor.connection
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT tgname, relname FROM pg_trigger JOIN pg_class ON pg_class.oid = tgrelid "
                "WHERE NOT tgisinternal AND starts_with(tgname, 'guard_')"
            )
            for name, table in cursor.fetchall():
                cursor.execute(f"DROP TRIGGER {name} ON {table}")
            for name in ("guard_refuse", "guard_truncate", "guard_allow_only", "guard_head"):
                cursor.execute(f"DROP FUNCTION {name}()")
        else:
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger' AND substr(name, 1, 6) = 'guard_'")
            for (name,) in cursor.fetchall():
                cursor.execute(f"DROP TRIGGER {name}")


class Migration(migrations.Migration):
    dependencies = [("jobs", "0006_subletorder_and_more")]

    operations = [migrations.RunPython(install, remove)]
