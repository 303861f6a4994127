"""Redacted packets, keys of people, copies of pictures; all three tables guarded."""

import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

REDACTIONS = "jobs_packetredaction"
PICTURES = "jobs_picturecopy"
KEYS = "jobs_personkey"
# A key may be destroyed, once; a person whose key is gone never gets another.
DESTROYING = ("key", "destroyed_at")
TABLES = (REDACTIONS, PICTURES, KEYS)
GUARDS = ("guard_delete", "guard_update", "guard_destroyed")


def guard(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        _postgresql(lambda sql: schema_editor.execute(sql, params=None))
    else:
        _sqlite(schema_editor)


def _postgresql(execute):
    for table in TABLES:
        execute(
            f"CREATE TRIGGER guard_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION guard_truncate()"
        )
        execute(
            f"CREATE TRIGGER guard_delete BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_refuse()"
        )
    for table in (REDACTIONS, PICTURES):
        execute(
            f"CREATE TRIGGER guard_update BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_refuse()"
        )
    names = ", ".join(f"'{name}'" for name in DESTROYING)
    execute(
        f"CREATE TRIGGER guard_update BEFORE UPDATE ON {KEYS} FOR EACH ROW WHEN (OLD.destroyed_at IS NULL) "
        f"EXECUTE FUNCTION guard_allow_only({names})"
    )
    execute(
        f"CREATE TRIGGER guard_destroyed BEFORE UPDATE ON {KEYS} FOR EACH ROW "
        "WHEN (OLD.key IS NOT NULL AND NEW.key IS NOT NULL AND OLD.key <> NEW.key "
        "OR OLD.destroyed_at IS NOT NULL AND OLD.* IS DISTINCT FROM NEW.*) EXECUTE FUNCTION guard_refuse()"
    )


def _sqlite(schema_editor):
    for table in TABLES:
        _trigger(schema_editor, "guard_delete", table, "DELETE", "1")
    for table in (REDACTIONS, PICTURES):
        _trigger(schema_editor, "guard_update", table, "UPDATE", "1")
    columns = _columns(schema_editor.connection, KEYS)
    changed = _differ(name for name in columns if name not in DESTROYING)
    _trigger(schema_editor, "guard_update", KEYS, "UPDATE", changed)
    destroyed = (
        "OLD.key IS NOT NULL AND NEW.key IS NOT NULL AND OLD.key <> NEW.key "
        f"OR OLD.destroyed_at IS NOT NULL AND ({_differ(columns)})"
    )
    _trigger(schema_editor, "guard_destroyed", KEYS, "UPDATE", destroyed)


def _trigger(schema_editor, name, table, event, condition):
    schema_editor.execute(
        f"CREATE TRIGGER {name}_{table} BEFORE {event} ON {table} FOR EACH ROW WHEN {condition} "
        f"BEGIN SELECT RAISE(ABORT, '{event} of {table}: what was recorded is not changed'); END",
        params=None,
    )


def _columns(connection, table):
    with connection.cursor() as cursor:
        return [column.name for column in connection.introspection.get_table_description(cursor, table)]


def _differ(columns):
    return " OR ".join(f'OLD."{name}" IS NOT NEW."{name}"' for name in columns)


def loosen(apps, schema_editor):
    """Back: on PostgreSQL and SQLite the guards go with their tables."""


class Migration(migrations.Migration):
    dependencies = [("jobs", "0013_bundles")]

    operations = [
        migrations.CreateModel(
            name='PacketRedaction',
            fields=[
                ('packet', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, primary_key=True, related_name='redaction', serialize=False, to='jobs.packet')),
                ('sha256', models.CharField(max_length=64)),
                ('made_at', models.DateTimeField()),
                ('left', models.JSONField(blank=True, default=list)),
                ('made_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL)),
                ('of', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='redacted_into', to='jobs.packet')),
                ('organisation', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation')),
            ],
            options={
                'constraints': [models.CheckConstraint(condition=models.Q(('packet', models.F('of')), _negated=True), name='redaction_of_another_packet')],
            },
        ),
        migrations.CreateModel(
            name='PersonKey',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('subject', models.CharField(max_length=80)),
                ('key', models.BinaryField(blank=True, max_length=32, null=True)),
                ('created_at', models.DateTimeField()),
                ('destroyed_at', models.DateTimeField(blank=True, null=True)),
                ('organisation', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('organisation', 'subject'), name='person_key_once'), models.CheckConstraint(condition=models.Q(models.Q(('destroyed_at__isnull', True), ('key__isnull', False)), models.Q(('destroyed_at__isnull', False), ('key__isnull', True)), _connector='OR'), name='person_key_there_or_destroyed')],
            },
        ),
        migrations.CreateModel(
            name='PictureCopy',
            fields=[
                ('id', models.BigAutoField(primary_key=True, serialize=False)),
                ('of_sha256', models.CharField(max_length=64)),
                ('use', models.CharField(max_length=5)),
                ('scale', models.PositiveSmallIntegerField()),
                ('sha256', models.CharField(max_length=64)),
                ('size_bytes', models.PositiveBigIntegerField()),
                ('width', models.PositiveIntegerField()),
                ('height', models.PositiveIntegerField()),
                ('made_at', models.DateTimeField()),
                ('organisation', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation')),
            ],
            options={
                'constraints': [models.UniqueConstraint(fields=('organisation', 'of_sha256', 'use'), name='picture_copy_once_per_use'), models.CheckConstraint(condition=models.Q(('use__in', ('small', 'large'))), name='picture_copy_use'), models.CheckConstraint(condition=models.Q(('scale__in', (1, 2, 4, 8))), name='picture_copy_scale')],
            },
        ),
        migrations.RunPython(guard, loosen),
    ]
