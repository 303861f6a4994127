"""Additions to sealed packets, retention rules and deletions, holds that two people lift; all guarded.

Three columns that may hold a customer's name can be blanked while a deletion of the customer data of that job is
under way, and at no other time; the hash beside each stays.
"""

import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models

NEVER_CHANGED = (
    "jobs_packetaddition",
    "jobs_additionprint",
    "jobs_retentionrule",
    "jobs_legalhold_jobs",
)
# Table: (frozen once this holds of the old row, columns that may change before).
WRITTEN_LATER = {
    "jobs_deletion": (
        "OLD.removed_at IS NOT NULL OR OLD.stopped_at IS NOT NULL",
        ("removed_at", "stopped_at", "stopped_because"),
    ),
    "jobs_legalhold": (
        "OLD.released_at IS NOT NULL",
        ("lift_asked_at", "lift_asked_by_id", "lift_reason", "released_at", "released_by_id"),
    ),
}
ENDING = ("ended_at", "ended_how", "ended_by_id", "ended_reason")
# Table: (column that an erasure may blank, columns that may change anyway while the row has not ended).
ERASABLE = {
    "jobs_refusal": ("refused_by_name", ENDING),
    "jobs_assessment": ("result", ()),
    "jobs_factsonfile": ("data", ()),
}
ERASURE = (
    "EXISTS (SELECT 1 FROM jobs_deletion gone WHERE gone.job_id = OLD.job_id AND gone.kind = 'customer_data' "
    "AND gone.removed_at IS NULL AND gone.stopped_at IS NULL)"
)
NEW_TABLES = (*NEVER_CHANGED, *WRITTEN_LATER)
# A derived copy goes away with its row, so that it is made anew where the original is still there.
COPIES = "jobs_picturecopy"
COPY_GOES = (
    "EXISTS (SELECT 1 FROM jobs_deletion gone WHERE gone.subject = 'picturecopy/' || OLD.id || '/sha256' "
    "AND gone.removed_at IS NULL AND gone.stopped_at IS NULL)"
)

POSTGRESQL_FUNCTION = """
CREATE FUNCTION guard_erasable() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
  before jsonb := to_jsonb(OLD);
  after jsonb := to_jsonb(NEW);
  has_ended boolean := coalesce((to_jsonb(OLD) ->> 'ended_at') IS NOT NULL, false);
  is_erased boolean;
BEGIN
  IF before = after THEN RETURN NEW; END IF;
  IF TG_NARGS > 1 AND NOT has_ended AND before - TG_ARGV[1:] = after - TG_ARGV[1:] THEN RETURN NEW; END IF;
  EXECUTE 'SELECT EXISTS (SELECT 1 FROM jobs_deletion gone WHERE gone.job_id = $1 AND gone.kind = ''customer_data'' '
    'AND gone.removed_at IS NULL AND gone.stopped_at IS NULL)' INTO is_erased USING OLD.job_id;
  IF is_erased AND before - TG_ARGV[0] = after - TG_ARGV[0] THEN RETURN NEW; END IF;
  RAISE EXCEPTION 'UPDATE of %: what was recorded is not changed', TG_TABLE_NAME
    USING ERRCODE = 'integrity_constraint_violation';
END $$;

CREATE FUNCTION guard_copy() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF EXISTS (SELECT 1 FROM jobs_deletion gone WHERE gone.subject = 'picturecopy/' || OLD.id || '/sha256'
    AND gone.removed_at IS NULL AND gone.stopped_at IS NULL) THEN RETURN OLD; END IF;
  RAISE EXCEPTION '% of %: what was recorded is not changed', TG_OP, TG_TABLE_NAME
    USING ERRCODE = 'integrity_constraint_violation';
END $$;
"""


def _quoted(names):
    return ", ".join(f"'{name}'" for name in names)


def _postgresql(execute):
    for table in NEW_TABLES:
        execute(
            f"CREATE TRIGGER guard_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION guard_truncate()"
        )
        execute(
            f"CREATE TRIGGER guard_delete BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_refuse()"
        )
    for table in NEVER_CHANGED:
        execute(
            f"CREATE TRIGGER guard_update BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_refuse()"
        )
    for table, (frozen, may_change) in WRITTEN_LATER.items():
        execute(
            f"CREATE TRIGGER guard_update BEFORE UPDATE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION guard_allow_only({_quoted(may_change)})"
        )
        execute(
            f"CREATE TRIGGER guard_written BEFORE UPDATE ON {table} "
            f"FOR EACH ROW WHEN ({frozen}) EXECUTE FUNCTION guard_refuse()"
        )
    execute(POSTGRESQL_FUNCTION)
    for table, (column, may_change) in ERASABLE.items():
        for name in ("guard_update", "guard_ended"):
            execute(f"DROP TRIGGER IF EXISTS {name} ON {table}")
        execute(
            f"CREATE TRIGGER guard_update BEFORE UPDATE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION guard_erasable({_quoted((column, *may_change))})"
        )
    execute(f"DROP TRIGGER IF EXISTS guard_delete ON {COPIES}")
    execute(
        f"CREATE TRIGGER guard_delete BEFORE DELETE ON {COPIES} FOR EACH ROW EXECUTE FUNCTION guard_copy()"
    )


def _trigger(name, table, event, condition=""):
    when = f"WHEN {condition} " if condition else ""
    return (
        f"CREATE TRIGGER {name}_{table} BEFORE {event} ON {table} FOR EACH ROW {when}"
        f"BEGIN SELECT RAISE(ABORT, '{event} of {table}: what was recorded is not changed'); END"
    )


def _sqlite(execute, columns_of):
    def differ(table, *leave_out):
        names = [name for name in columns_of(table) if name not in leave_out]
        return "(" + " OR ".join(f'OLD."{name}" IS NOT NEW."{name}"' for name in names) + ")"

    for table in NEW_TABLES:
        execute(_trigger("guard_delete", table, "DELETE"))
    for table in NEVER_CHANGED:
        execute(_trigger("guard_update", table, "UPDATE"))
    for table, (frozen, may_change) in WRITTEN_LATER.items():
        execute(_trigger("guard_update", table, "UPDATE", differ(table, *may_change)))
        execute(_trigger("guard_written", table, "UPDATE", f"({frozen})"))
    for table, (column, may_change) in ERASABLE.items():
        for name in ("guard_update", "guard_ended"):
            execute(f"DROP TRIGGER IF EXISTS {name}_{table}")
        is_erased = f"(NOT {differ(table, column)} AND {ERASURE})"
        is_ending = f"(OLD.ended_at IS NULL AND NOT {differ(table, *may_change)})" if may_change else "0"
        execute(
            _trigger("guard_update", table, "UPDATE", f"({differ(table)} AND NOT {is_erased} AND NOT {is_ending})")
        )
    execute(f"DROP TRIGGER IF EXISTS guard_delete_{COPIES}")
    execute(_trigger("guard_delete", COPIES, "DELETE", f"NOT {COPY_GOES}"))


def install(apps, schema_editor):
    connection = schema_editor.connection

    def execute(sql):
        schema_editor.execute(sql, params=None)

    if connection.vendor == "postgresql":
        _postgresql(execute)
        return

    def columns_of(table):
        with connection.cursor() as cursor:
            return [column.name for column in connection.introspection.get_table_description(cursor, table)]

    _sqlite(execute, columns_of)


def remove(apps, schema_editor):
    """Back: the new tables go with their guards; the three older ones keep a guard that refuses every change."""
    connection = schema_editor.connection
    is_postgresql = connection.vendor == "postgresql"
    for table in NEW_TABLES:
        for name in ("guard_update", "guard_written", "guard_delete", "guard_truncate"):
            if is_postgresql:
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}", params=None)
            else:
                schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{table}", params=None)
    for table in ERASABLE:
        if is_postgresql:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS guard_update ON {table}", params=None)
            schema_editor.execute(
                f"CREATE TRIGGER guard_update BEFORE UPDATE ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION guard_refuse()",
                params=None,
            )
        else:
            schema_editor.execute(f"DROP TRIGGER IF EXISTS guard_update_{table}", params=None)
            schema_editor.execute(_trigger("guard_update", table, "UPDATE"), params=None)
    if is_postgresql:
        schema_editor.execute(f"DROP TRIGGER IF EXISTS guard_delete ON {COPIES}", params=None)
        for name in ("guard_erasable", "guard_copy"):
            schema_editor.execute(f"DROP FUNCTION {name}()", params=None)
    else:
        schema_editor.execute(f"DROP TRIGGER IF EXISTS guard_delete_{COPIES}", params=None)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0015_links")]

    operations = [
        migrations.CreateModel(
            name='AdditionPrint',
            fields=[
                ('id', models.BigAutoField(primary_key=True, serialize=False)),
                ('sha256', models.CharField(max_length=64)),
                ('size_bytes', models.PositiveBigIntegerField()),
                ('made_at', models.DateTimeField()),
                ('key_sha256', models.CharField(blank=True, default='', max_length=64)),
            ],
            options={
                'abstract': False,
            },
        ),
        migrations.CreateModel(
            name='Deletion',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(max_length=24)),
                ('why', models.CharField(max_length=10)),
                ('subject', models.CharField(max_length=120)),
                ('words', models.CharField(max_length=200)),
                ('sha256', models.CharField(blank=True, default='', max_length=64)),
                ('size_bytes', models.PositiveBigIntegerField(blank=True, null=True)),
                ('rule', models.CharField(max_length=200)),
                ('due_on', models.DateField()),
                ('plan_sha256', models.CharField(max_length=64)),
                ('decided_at', models.DateTimeField()),
                ('decided_by', models.CharField(max_length=120)),
                ('removed_at', models.DateTimeField(blank=True, null=True)),
                ('stopped_at', models.DateTimeField(blank=True, null=True)),
                ('stopped_because', models.CharField(blank=True, default='', max_length=200)),
            ],
        ),
        migrations.CreateModel(
            name='PacketAddition',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('number', models.PositiveIntegerField()),
                ('kind', models.CharField(max_length=20)),
                ('key', models.CharField(max_length=200)),
                ('at', models.DateTimeField()),
                ('who', models.CharField(max_length=120)),
                ('text', models.TextField()),
                ('facts', models.JSONField(blank=True, default=dict)),
                ('sha256', models.CharField(max_length=64)),
                ('size_bytes', models.PositiveIntegerField()),
                ('previous', models.CharField(blank=True, default='', max_length=64)),
            ],
        ),
        migrations.CreateModel(
            name='RetentionRule',
            fields=[
                ('id', models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ('kind', models.CharField(max_length=24)),
                ('amount', models.PositiveIntegerField(blank=True, null=True)),
                ('unit', models.CharField(default='months', max_length=6)),
                ('reason', models.TextField()),
                ('set_at', models.DateTimeField()),
            ],
        ),
        migrations.AddField(
            model_name='legalhold',
            name='lift_asked_at',
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name='legalhold',
            name='lift_asked_by',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddField(
            model_name='legalhold',
            name='lift_reason',
            field=models.TextField(blank=True, default=''),
        ),
        migrations.AddField(
            model_name='legalhold',
            name='query',
            field=models.JSONField(blank=True, default=dict),
        ),
        migrations.AddConstraint(
            model_name='legalhold',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('released_at__isnull', True), ('released_by__isnull', True)), models.Q(('lift_asked_at__isnull', False), ('lift_asked_by__isnull', False), ('released_at__isnull', False), ('released_by__isnull', False), models.Q(('released_by', models.F('lift_asked_by')), _negated=True)), _connector='OR'), name='hold_lifted_by_two'),
        ),
        migrations.AddField(
            model_name='additionprint',
            name='organisation',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation'),
        ),
        migrations.AddField(
            model_name='deletion',
            name='evidence',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='deletions', to='jobs.evidence'),
        ),
        migrations.AddField(
            model_name='deletion',
            name='job',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='deletions', to='jobs.job'),
        ),
        migrations.AddField(
            model_name='deletion',
            name='organisation',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation'),
        ),
        migrations.AddField(
            model_name='deletion',
            name='packet',
            field=models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='deletions', to='jobs.packet'),
        ),
        migrations.AddField(
            model_name='packetaddition',
            name='organisation',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation'),
        ),
        migrations.AddField(
            model_name='packetaddition',
            name='packet',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='additions', to='jobs.packet'),
        ),
        migrations.AddField(
            model_name='additionprint',
            name='addition',
            field=models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='printed', to='jobs.packetaddition'),
        ),
        migrations.AddField(
            model_name='retentionrule',
            name='organisation',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='jobs.organisation'),
        ),
        migrations.AddField(
            model_name='retentionrule',
            name='set_by',
            field=models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to=settings.AUTH_USER_MODEL),
        ),
        migrations.AddIndex(
            model_name='deletion',
            index=models.Index(fields=['organisation', 'sha256'], name='deletion_of_bytes'),
        ),
        migrations.AddIndex(
            model_name='deletion',
            index=models.Index(fields=['organisation', 'plan_sha256'], name='deletion_of_plan'),
        ),
        migrations.AddConstraint(
            model_name='deletion',
            constraint=models.UniqueConstraint(condition=models.Q(('stopped_at__isnull', True)), fields=('organisation', 'subject'), name='deletion_of_subject_once'),
        ),
        migrations.AddConstraint(
            model_name='deletion',
            constraint=models.CheckConstraint(condition=models.Q(('removed_at__isnull', True), ('stopped_at__isnull', True), _connector='OR'), name='deletion_removed_or_stopped'),
        ),
        migrations.AddConstraint(
            model_name='deletion',
            constraint=models.CheckConstraint(condition=models.Q(('why__in', ('retention', 'erasure'))), name='deletion_why'),
        ),
        migrations.AddConstraint(
            model_name='packetaddition',
            constraint=models.UniqueConstraint(fields=('organisation', 'packet', 'number'), name='addition_number_once'),
        ),
        migrations.AddConstraint(
            model_name='packetaddition',
            constraint=models.UniqueConstraint(fields=('organisation', 'packet', 'key'), name='addition_event_once'),
        ),
        migrations.AddConstraint(
            model_name='packetaddition',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('number', 1), ('previous', '')), models.Q(('number__gt', 1), models.Q(('previous', ''), _negated=True)), _connector='OR'), name='addition_follows_the_one_before'),
        ),
        migrations.AddConstraint(
            model_name='packetaddition',
            constraint=models.CheckConstraint(condition=models.Q(('kind__in', ('time_stamp', 'late_certificate', 'look_back', 'rule_change', 'comeback', 'superseded', 'retention'))), name='addition_kind'),
        ),
        migrations.AddIndex(
            model_name='retentionrule',
            index=models.Index(fields=['organisation', 'kind', '-set_at'], name='retention_newest'),
        ),
        migrations.AddConstraint(
            model_name='retentionrule',
            constraint=models.CheckConstraint(condition=models.Q(('unit__in', ('months', 'days'))), name='retention_rule_unit'),
        ),
        migrations.AddConstraint(
            model_name='retentionrule',
            constraint=models.CheckConstraint(condition=models.Q(('amount__isnull', True), ('amount__gte', 1), _connector='OR'), name='retention_rule_amount'),
        ),
        migrations.RunPython(install, remove),
    ]
