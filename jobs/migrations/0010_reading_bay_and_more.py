"""The bay a reading was taken in, and since when a floor is no longer as surveyed; both tables guarded."""

import django.db.models.deletion
from django.db import migrations, models

READINGS = "jobs_reading"
SURVEYS = "jobs_bayfloorsurvey"
ENDING = ("ended_at", "ended_how", "ended_by_id", "ended_reason")
# Written once, when somebody tells that the floor was changed.
VOIDING = ("voided_at", "void_reason", "void_recorded_at")
NEW_GUARDS = ("guard_delete", "guard_update", "guard_ended", "guard_voided")


def guard(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        _postgresql(lambda sql: schema_editor.execute(sql, params=None))
    else:
        _sqlite(schema_editor)


def _postgresql(execute):
    """Guards of readings compare whole rows and see the new column by themselves."""
    execute(
        f"CREATE TRIGGER guard_truncate BEFORE TRUNCATE ON {SURVEYS} "
        "FOR EACH STATEMENT EXECUTE FUNCTION guard_truncate()"
    )
    execute(
        f"CREATE TRIGGER guard_delete BEFORE DELETE ON {SURVEYS} FOR EACH ROW EXECUTE FUNCTION guard_refuse()"
    )
    allowed = ", ".join(f"'{name}'" for name in (*ENDING, *VOIDING))
    execute(
        f"CREATE TRIGGER guard_update BEFORE UPDATE ON {SURVEYS} "
        f"FOR EACH ROW WHEN (OLD.ended_at IS NULL) EXECUTE FUNCTION guard_allow_only({allowed})"
    )
    execute(
        f"CREATE TRIGGER guard_ended BEFORE UPDATE ON {SURVEYS} "
        "FOR EACH ROW WHEN (OLD.ended_at IS NOT NULL AND OLD.* IS DISTINCT FROM NEW.*) "
        "EXECUTE FUNCTION guard_refuse()"
    )
    differ = " OR ".join(f"OLD.{name} IS DISTINCT FROM NEW.{name}" for name in VOIDING)
    execute(
        f"CREATE TRIGGER guard_voided BEFORE UPDATE ON {SURVEYS} "
        f"FOR EACH ROW WHEN (OLD.voided_at IS NOT NULL AND ({differ})) EXECUTE FUNCTION guard_refuse()"
    )


def _sqlite(schema_editor):
    """On SQLite a guard names its columns, so the guards of readings are made anew with the new one."""
    readings, surveys = (_columns(schema_editor.connection, table) for table in (READINGS, SURVEYS))
    for name in ("guard_delete", "guard_update", "guard_ended"):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{READINGS}", params=None)
    _only_ended(schema_editor, READINGS, readings, ENDING)
    _only_ended(schema_editor, SURVEYS, surveys, (*ENDING, *VOIDING))
    voided = f"WHEN OLD.voided_at IS NOT NULL AND ({_differ(VOIDING)}) "
    _trigger(schema_editor, "guard_voided", SURVEYS, "UPDATE", voided)


def _only_ended(schema_editor, table, columns, may_change):
    changed = _differ(name for name in columns if name not in may_change)
    _trigger(schema_editor, "guard_delete", table, "DELETE", "")
    _trigger(schema_editor, "guard_update", table, "UPDATE", f"WHEN ({changed}) ")
    ended = f"WHEN OLD.ended_at IS NOT NULL AND ({_differ(columns)}) "
    _trigger(schema_editor, "guard_ended", table, "UPDATE", ended)


def _trigger(schema_editor, name, table, event, condition):
    schema_editor.execute(
        f"CREATE TRIGGER {name}_{table} BEFORE {event} ON {table} FOR EACH ROW {condition}"
        f"BEGIN SELECT RAISE(ABORT, '{event} of {table}: what was recorded is not changed'); END",
        params=None,
    )


def _columns(connection, table):
    with connection.cursor() as cursor:
        return [column.name for column in connection.introspection.get_table_description(cursor, table)]


def _differ(columns):
    return " OR ".join(f'OLD."{name}" IS NOT NEW."{name}"' for name in columns)


def loosen(apps, schema_editor):
    """Back: guards that name the new columns must go before them."""
    if schema_editor.connection.vendor == "postgresql":
        for name in (*NEW_GUARDS, "guard_truncate"):
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {SURVEYS}", params=None)
        return
    for name in NEW_GUARDS:
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{SURVEYS}", params=None)
    for name in ("guard_update", "guard_ended"):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{READINGS}", params=None)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0009_reading_u_common")]

    operations = [
        migrations.AddField(
            model_name="reading",
            name="bay",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="jobs.bay",
            ),
        ),
        migrations.AddField(
            model_name="bayfloorsurvey",
            name="void_recorded_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.RunPython(guard, loosen),
    ]
