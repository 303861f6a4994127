"""Signing keys on record, and the steps of a packet between building and sealed; both guarded."""

import uuid

import django.db.models.deletion
from django.db import migrations, models

PACKETS = "jobs_packet"
IDENTITIES = "jobs_signingidentity"
RETIRING = ("retired_at", "retired_reason")
AFTER_SEALING = ("external_timestamp",)
# What is still open while a packet waits for its signature; its body stands in the log by then.
WHILE_SIGNING = (
    "state", "progress", "attempts", "failure_code", "failure_message", "waits_for", "built_at", "signed_by_id",
    "signed_at", "pades_level", "pdf_sha256", "pdf_bytes",
)  # fmt: skip
STATES = ("waiting", "building", "signing", "sealed", "failed")


def guard(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        _postgresql(lambda sql: schema_editor.execute(sql, params=None))
    else:
        _sqlite(schema_editor)


def _listed(names):
    return ", ".join(f"'{name}'" for name in names)


def _postgresql(execute):
    """The guard of sealed packets compares whole rows and sees the new columns by itself."""
    execute(
        f"CREATE TRIGGER guard_signing BEFORE UPDATE ON {PACKETS} FOR EACH ROW WHEN (OLD.state = 'signing') "
        f"EXECUTE FUNCTION guard_allow_only({_listed(WHILE_SIGNING)})"
    )
    execute(
        f"CREATE TRIGGER guard_unsigning BEFORE UPDATE ON {PACKETS} FOR EACH ROW "
        "WHEN (OLD.state = 'signing' AND NEW.state IN ('waiting', 'building')) EXECUTE FUNCTION guard_refuse()"
    )
    execute(
        f"CREATE TRIGGER guard_delete_signing BEFORE DELETE ON {PACKETS} FOR EACH ROW "
        "WHEN (OLD.state = 'signing') EXECUTE FUNCTION guard_refuse()"
    )
    execute(
        f"CREATE TRIGGER guard_truncate BEFORE TRUNCATE ON {IDENTITIES} "
        "FOR EACH STATEMENT EXECUTE FUNCTION guard_truncate()"
    )
    execute(
        f"CREATE TRIGGER guard_delete BEFORE DELETE ON {IDENTITIES} FOR EACH ROW EXECUTE FUNCTION guard_refuse()"
    )
    execute(
        f"CREATE TRIGGER guard_update BEFORE UPDATE ON {IDENTITIES} FOR EACH ROW "
        f"WHEN (OLD.retired_at IS NULL) EXECUTE FUNCTION guard_allow_only({_listed(RETIRING)})"
    )
    execute(
        f"CREATE TRIGGER guard_ended BEFORE UPDATE ON {IDENTITIES} FOR EACH ROW "
        "WHEN (OLD.retired_at IS NOT NULL AND OLD.* IS DISTINCT FROM NEW.*) EXECUTE FUNCTION guard_refuse()"
    )


def _sqlite(schema_editor):
    """On SQLite the table was made anew without its guards."""
    packets, identities = (_columns(schema_editor.connection, table) for table in (PACKETS, IDENTITIES))
    for name in ("guard_update", "guard_delete"):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{PACKETS}", params=None)
    changed = _differ(name for name in packets if name not in AFTER_SEALING)
    _trigger(schema_editor, "guard_update", PACKETS, "UPDATE", f"OLD.state = 'sealed' AND ({changed})")
    moved = _differ(name for name in packets if name not in WHILE_SIGNING)
    _trigger(schema_editor, "guard_signing", PACKETS, "UPDATE", f"OLD.state = 'signing' AND ({moved})")
    back = "OLD.state = 'signing' AND NEW.state IN ('waiting', 'building')"
    _trigger(schema_editor, "guard_unsigning", PACKETS, "UPDATE", back)
    _trigger(schema_editor, "guard_delete", PACKETS, "DELETE", "OLD.state IN ('signing', 'sealed')")
    _trigger(schema_editor, "guard_delete", IDENTITIES, "DELETE", "1")
    changed = _differ(name for name in identities if name not in RETIRING)
    _trigger(schema_editor, "guard_update", IDENTITIES, "UPDATE", changed)
    ended = f"OLD.retired_at IS NOT NULL AND ({_differ(identities)})"
    _trigger(schema_editor, "guard_ended", IDENTITIES, "UPDATE", ended)


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
    """Back: guards that name the new columns must go before them."""
    if schema_editor.connection.vendor == "postgresql":
        for name in ("guard_signing", "guard_unsigning", "guard_delete_signing"):
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {name} ON {PACKETS}", params=None)
        return
    for name in ("guard_update", "guard_signing", "guard_unsigning", "guard_delete"):
        schema_editor.execute(f"DROP TRIGGER IF EXISTS {name}_{PACKETS}", params=None)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0011_tree_heads")]

    operations = [
        migrations.CreateModel(
            name="SigningIdentity",
            fields=[
                ("id", models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)),
                ("home", models.CharField(max_length=5)),
                ("reference", models.CharField(max_length=200)),
                ("secret", models.CharField(blank=True, default="", max_length=40)),
                ("certificate", models.BinaryField()),
                ("chain", models.JSONField(blank=True, default=list)),
                ("key_sha256", models.CharField(max_length=64)),
                ("is_demo", models.BooleanField(default=False)),
                ("since", models.DateTimeField()),
                ("retired_at", models.DateTimeField(blank=True, null=True)),
                ("retired_reason", models.CharField(blank=True, default="", max_length=200)),
                (
                    "organisation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.organisation"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("retired_at__isnull", True)),
                        fields=("organisation",),
                        name="signing_identity_one_in_use",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("home__in", ("file", "token"))), name="signing_identity_home"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            ("retired_at__isnull", True), ("retired_at__gte", models.F("since")), _connector="OR"
                        ),
                        name="signing_identity_retired_after_it_began",
                    ),
                ],
            },
        ),
        migrations.RemoveConstraint(model_name="packet", name="packet_state"),
        migrations.AddField("packet", "body_sha256", models.CharField(blank=True, default="", max_length=64)),
        migrations.AddField("packet", "body_bytes", models.PositiveBigIntegerField(blank=True, null=True)),
        migrations.AddField("packet", "sealing_sha256", models.CharField(blank=True, default="", max_length=64)),
        migrations.AddField("packet", "sealing_n", models.PositiveBigIntegerField(blank=True, null=True)),
        migrations.AddField(
            "packet",
            "signed_by",
            models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="packets",
                to="jobs.signingidentity",
            ),
        ),
        migrations.AddField("packet", "signed_at", models.DateTimeField(blank=True, null=True)),
        migrations.AddField("packet", "pades_level", models.CharField(blank=True, default="", max_length=8)),
        migrations.AddField("packet", "waits_for", models.CharField(blank=True, default="", max_length=12)),
        migrations.AddConstraint(
            "packet", models.CheckConstraint(condition=models.Q(("state__in", STATES)), name="packet_state")
        ),
        migrations.AddConstraint(
            "packet",
            models.CheckConstraint(
                condition=models.Q(
                    models.Q(("state", "signing"), _negated=True),
                    models.Q(
                        ("body_bytes__isnull", False),
                        models.Q(("body_sha256", ""), _negated=True),
                        models.Q(("sealing_sha256", ""), _negated=True),
                    ),
                    _connector="OR",
                ),
                name="packet_signing_has_its_body",
            ),
        ),
        migrations.AddConstraint(
            "packet",
            models.CheckConstraint(
                condition=models.Q(
                    ("pades_level", ""),
                    models.Q(("signed_at__isnull", False), ("signed_by__isnull", False)),
                    _connector="OR",
                ),
                name="packet_level_needs_a_signature",
            ),
        ),
        migrations.AddConstraint(
            "packet",
            models.CheckConstraint(
                condition=models.Q(("pades_level__in", ("", "B-B", "B-T"))), name="packet_pades_level"
            ),
        ),
        migrations.AddConstraint(
            "packet",
            models.CheckConstraint(
                condition=models.Q(("waits_for__in", ("", "signing_key"))), name="packet_waits_for"
            ),
        ),
        migrations.RunPython(guard, loosen),
    ]
