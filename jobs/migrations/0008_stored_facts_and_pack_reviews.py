"""The facts a judgement rested on, who wrote an edition, and the warnings somebody let stand; with guards."""

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


EDITIONS = "jobs_packeditiononfile"
MAY_CHANGE = (
    "state", "in_force_until", "withdrawn_on", "withdrawn_at", "withdrawn_reason", "withdrawn_severity"
)
NEVER_CHANGED = ("jobs_factsonfile", "jobs_packacknowledgement")
# A text that was taken back or replaced is never published again.
BACK = (
    "(OLD.state = 'withdrawn' AND NEW.state <> 'withdrawn') "
    "OR (OLD.state = 'superseded' AND NEW.state = 'published')"
)


def _postgresql(execute):
    for table in NEVER_CHANGED:
        for event in ("DELETE", "UPDATE"):
            execute(
                f"CREATE TRIGGER guard_{event.lower()} BEFORE {event} ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION guard_refuse()"
            )
        execute(
            f"CREATE TRIGGER guard_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION guard_truncate()"
        )
    names = ", ".join(f"'{name}'" for name in MAY_CHANGE)
    execute(f"DROP TRIGGER guard_update ON {EDITIONS}")
    execute(
        f"CREATE TRIGGER guard_update BEFORE UPDATE ON {EDITIONS} "
        f"FOR EACH ROW WHEN (OLD.state <> 'draft') EXECUTE FUNCTION guard_allow_only({names})"
    )
    execute(
        f"CREATE TRIGGER guard_back BEFORE UPDATE ON {EDITIONS} "
        f"FOR EACH ROW WHEN ({BACK}) EXECUTE FUNCTION guard_refuse()"
    )


def _sqlite_trigger(name, table, event, condition=""):
    when = f"WHEN {condition} " if condition else ""
    return (
        f"CREATE TRIGGER {name}_{table} BEFORE {event} ON {table} FOR EACH ROW {when}"
        f"BEGIN SELECT RAISE(ABORT, '{event} of {table}: what was recorded is not changed'); END"
    )


def _sqlite(execute, columns):
    for table in NEVER_CHANGED:
        for event in ("DELETE", "UPDATE"):
            execute(_sqlite_trigger(f"guard_{event.lower()}", table, event))
    # The table has new columns now: its guards are made anew so that they see them too.
    for name in ("guard_update", "guard_delete", "guard_thaw"):
        execute(f"DROP TRIGGER IF EXISTS {name}_{EDITIONS}")
    differ = " OR ".join(f'OLD."{name}" IS NOT NEW."{name}"' for name in columns if name not in MAY_CHANGE)
    execute(_sqlite_trigger("guard_update", EDITIONS, "UPDATE", f"OLD.state <> 'draft' AND ({differ})"))
    execute(_sqlite_trigger("guard_delete", EDITIONS, "DELETE", "OLD.state <> 'draft'"))
    execute(_sqlite_trigger("guard_thaw", EDITIONS, "UPDATE", "OLD.state <> 'draft' AND NEW.state = 'draft'"))
    execute(_sqlite_trigger("guard_back", EDITIONS, "UPDATE", BACK))


def install(apps, schema_editor):
    connection = schema_editor.connection

    def execute(sql):
        schema_editor.execute(sql, params=None)

    if connection.vendor == "postgresql":
        _postgresql(execute)
        return
    with connection.cursor() as cursor:
        description = connection.introspection.get_table_description(cursor, EDITIONS)
    _sqlite(execute, [column.name for column in description])


def remove(apps, schema_editor):
    connection = schema_editor.connection
    names = [(f"guard_{event}", table) for table in NEVER_CHANGED for event in ("delete", "update")]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            names += [("guard_truncate", table) for table in NEVER_CHANGED]
            for name, table in (*names, ("guard_back", EDITIONS)):
                cursor.execute(f"DROP TRIGGER {name} ON {table}")
        else:
            for name, table in (*names, ("guard_back", EDITIONS)):
                cursor.execute(f"DROP TRIGGER {name}_{table}")


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0007_guards'),
    ]

    operations = [
        migrations.AddField(
            model_name='packeditiononfile',
            name='written_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='packeditiononfile',
            name='written_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='packeditiononfile',
            name='withdrawn_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.CreateModel(
            name='FactsOnFile',
            fields=[
                ('id', models.BigAutoField(primary_key=True, serialize=False)),
                ('sha256', models.CharField(max_length=64)),
                ('data', models.BinaryField()),
                ('size_bytes', models.PositiveIntegerField()),
                ('stored_at', models.DateTimeField()),
                ('job', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='facts_on_file', to='jobs.job')),
                ('organisation', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('organisation', 'job', 'sha256'), name='facts_on_file_once')],
            },
        ),
        migrations.CreateModel(
            name='PackAcknowledgement',
            fields=[
                ('id', models.BigAutoField(primary_key=True, serialize=False)),
                ('sha256', models.CharField(max_length=64)),
                ('name', models.CharField(max_length=300)),
                ('words', models.TextField()),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('edition_on_file', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='acknowledgements', to='jobs.packeditiononfile')),
                ('organisation', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('organisation', 'edition_on_file', 'sha256', 'name'), name='pack_warning_once')],
            },
        ),
        migrations.RunPython(install, remove),
    ]
