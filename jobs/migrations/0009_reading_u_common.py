"""The part of a reading's uncertainty that all readings with one instrument share, guarded like the rest."""

from django.db import migrations, models

READINGS = "jobs_reading"
ENDING = ("ended_at", "ended_how", "ended_by_id", "ended_reason")


def guard(apps, schema_editor):
    """On SQLite a guard names its columns, so the table's guards are made anew with the new one."""
    connection = schema_editor.connection
    if connection.vendor == "postgresql":
        return  # its guards compare whole rows
    with connection.cursor() as cursor:
        columns = [column.name for column in connection.introspection.get_table_description(cursor, READINGS)]
    for name in ("guard_delete", "guard_update", "guard_ended"):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{READINGS}", params=None)
    changed = _differ(name for name in columns if name not in ENDING)
    ended = f"OLD.ended_at IS NOT NULL AND ({_differ(columns)})"
    for name, event, condition in (
        ("guard_delete", "DELETE", ""),
        ("guard_update", "UPDATE", f"WHEN ({changed}) "),
        ("guard_ended", "UPDATE", f"WHEN {ended} "),
    ):
        schema_editor.execute(
            f"CREATE TRIGGER {name}_{READINGS} BEFORE {event} ON {READINGS} FOR EACH ROW {condition}"
            f"BEGIN SELECT RAISE(ABORT, '{event} of {READINGS}: what was recorded is not changed'); END",
            params=None,
        )


def _differ(columns):
    return " OR ".join(f'OLD."{name}" IS NOT NEW."{name}"' for name in columns)


def loosen(apps, schema_editor):
    """Back: a guard that names the column must go before it; the older migration's guards come without it."""
    if schema_editor.connection.vendor == "postgresql":
        return
    for name in ("guard_update", "guard_ended"):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{READINGS}", params=None)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0008_stored_facts_and_pack_reviews")]

    operations = [
        migrations.AddField(
            model_name="reading", name="u_common", field=models.FloatField(blank=True, null=True)
        ),
        migrations.RunPython(guard, loosen),
    ]
