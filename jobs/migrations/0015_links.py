"""Links and their downloads, samples and their archives; what was granted, taken and drawn is guarded."""

import uuid

from django.conf import settings
from django.db import migrations, models

REVOKING = ("revoked_at", "revoked_by_id", "revoked_why")
TRIES = ("wrong_tries", "all_wrong_tries", "locked_until")
# Table: columns that may still change. A row never goes away.
MAY_CHANGE = {
    "jobs_packetdownload": ("ip",),
    "jobs_copytransfer": ("ip",),
    "jobs_sampledpacket": (),
    "jobs_archivedcopy": (),
    "jobs_accessgrant": ("downloads", *REVOKING),
    "jobs_sharelink": (*TRIES, *REVOKING),
    "jobs_sample": ("drawn_at", "drawn_by_id", "word"),
}
# Table: the column which, once filled, closes these columns for ever.
CLOSED_BY = {
    "jobs_accessgrant": ("revoked_at", (*REVOKING, "downloads")),
    "jobs_sharelink": ("revoked_at", REVOKING),
    "jobs_sample": ("drawn_at", ("drawn_at", "drawn_by_id", "word")),
}
NAMES = ("guard_truncate", "guard_delete", "guard_update", "guard_closed")


def guard(apps, schema_editor):
    """Puts the guards anew: on SQLite the tables were made anew by the changes above, without any."""
    loosen(apps, schema_editor)
    if schema_editor.connection.vendor == "postgresql":
        _postgresql(lambda sql: schema_editor.execute(sql, params=None))
    else:
        _sqlite(schema_editor)


def _postgresql(execute):
    for table, columns in MAY_CHANGE.items():
        execute(
            f"CREATE TRIGGER guard_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION guard_truncate()"
        )
        execute(f"CREATE TRIGGER guard_delete BEFORE DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION guard_refuse()")
        allowed = ", ".join(f"'{name}'" for name in columns)
        act = f"guard_allow_only({allowed})" if columns else "guard_refuse()"
        execute(f"CREATE TRIGGER guard_update BEFORE UPDATE ON {table} FOR EACH ROW EXECUTE FUNCTION {act}")
    for table, (closed, columns) in CLOSED_BY.items():
        differ = " OR ".join(f"OLD.{name} IS DISTINCT FROM NEW.{name}" for name in columns)
        execute(
            f"CREATE TRIGGER guard_closed BEFORE UPDATE ON {table} "
            f"FOR EACH ROW WHEN (OLD.{closed} IS NOT NULL AND ({differ})) EXECUTE FUNCTION guard_refuse()"
        )


def _sqlite(schema_editor):
    for table, columns in MAY_CHANGE.items():
        fixed = [name for name in _columns(schema_editor.connection, table) if name not in columns]
        _trigger(schema_editor, "guard_delete", table, "DELETE", "")
        _trigger(schema_editor, "guard_update", table, "UPDATE", f"WHEN ({_differ(fixed)}) ")
    for table, (closed, columns) in CLOSED_BY.items():
        condition = f"WHEN OLD.{closed} IS NOT NULL AND ({_differ(columns)}) "
        _trigger(schema_editor, "guard_closed", table, "UPDATE", condition)


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
    on_postgresql = schema_editor.connection.vendor == "postgresql"
    for table in MAY_CHANGE:
        for name in NAMES:
            which = f"{name} ON {table}" if on_postgresql else f"{name}_{table}"
            schema_editor.execute(f"DROP TRIGGER IF EXISTS {which}", params=None)


def guard_as_before(apps, schema_editor):
    """Back: downloads were never changed at all, and the other tables had no guards."""
    table = "jobs_packetdownload"
    for event in ("DELETE", "UPDATE"):
        if schema_editor.connection.vendor == "postgresql":
            schema_editor.execute(
                f"CREATE TRIGGER guard_{event.lower()} BEFORE {event} ON {table} "
                "FOR EACH ROW EXECUTE FUNCTION guard_refuse()",
                params=None,
            )
        else:
            _trigger(schema_editor, f"guard_{event.lower()}", table, event, "")
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(
            f"CREATE TRIGGER guard_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION guard_truncate()",
            params=None,
        )


PURPOSES = ("insurer_audit", "owner_copy", "discovery", "sublet", "internal")
WHY = ("", "asked", "superseded", "sharer_left", "evidence_flagged", "wrong_tries")


def _key():
    return models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False)


def _fk(to, related_name="+", **more):
    return models.ForeignKey(to=to, on_delete=models.PROTECT, related_name=related_name, **more)


def _one(to, related_name, **more):
    return models.OneToOneField(to=to, on_delete=models.PROTECT, related_name=related_name, **more)


class Migration(migrations.Migration):
    dependencies = [("jobs", "0014_redaction")]

    operations = [
        # On SQLite a guard names columns, and a guarded table cannot be made anew under its guards.
        migrations.RunPython(loosen, guard_as_before),
        migrations.CreateModel(
            name="ShareLink",
            fields=[
                ("id", _key()),
                ("token_sha256", models.CharField(max_length=64, unique=True)),
                ("to_name", models.CharField(max_length=80)),
                ("to_company", models.CharField(max_length=80)),
                ("purpose", models.CharField(max_length=16)),
                ("valid_from", models.DateTimeField()),
                ("until", models.DateTimeField()),
                ("passphrase_hash", models.CharField(blank=True, default="", max_length=160)),
                ("wrong_tries", models.PositiveSmallIntegerField(default=0)),
                ("all_wrong_tries", models.PositiveIntegerField(default=0)),
                ("locked_until", models.DateTimeField(blank=True, null=True)),
                ("made_at", models.DateTimeField()),
                ("revoked_at", models.DateTimeField(blank=True, null=True)),
                ("revoked_why", models.CharField(blank=True, default="", max_length=20)),
                ("made_by", _fk(settings.AUTH_USER_MODEL)),
                ("organisation", _fk("jobs.organisation")),
                ("revoked_by", _fk(settings.AUTH_USER_MODEL, blank=True, null=True)),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("valid_from__lt", models.F("until"))), name="link_has_a_span"
                    ),
                    models.CheckConstraint(condition=models.Q(("purpose__in", PURPOSES)), name="link_purpose"),
                    models.CheckConstraint(condition=models.Q(("revoked_why__in", WHY)), name="link_revoked_why"),
                ]
            },
        ),
        migrations.RemoveConstraint(model_name="accessgrant", name="grant_is_to_somebody"),
        migrations.AddField(
            model_name="accessgrant", name="ends_when_evidence_flagged", field=models.BooleanField(default=False)
        ),
        migrations.AddField(
            model_name="accessgrant", name="ends_when_sharer_leaves", field=models.BooleanField(default=False)
        ),
        migrations.AddField(
            model_name="accessgrant", name="ends_when_superseded", field=models.BooleanField(default=False)
        ),
        migrations.AddField(
            model_name="accessgrant", name="revoked_why", field=models.CharField(blank=True, default="", max_length=20)
        ),
        migrations.AddField(
            model_name="packetdownload", name="copy", field=models.UUIDField(blank=True, null=True, unique=True)
        ),
        migrations.AddField(
            model_name="packetdownload", name="copy_until", field=models.DateTimeField(blank=True, null=True)
        ),
        migrations.AddField(
            model_name="packetdownload", name="ip", field=models.GenericIPAddressField(blank=True, null=True)
        ),
        migrations.AddField(
            model_name="packetdownload",
            name="recipient",
            field=models.CharField(blank=True, default="", max_length=260),
        ),
        migrations.AddField(
            model_name="packetdownload",
            name="user_agent",
            field=models.CharField(blank=True, default="", max_length=300),
        ),
        migrations.AlterField(
            model_name="packetdownload", name="person", field=_fk(settings.AUTH_USER_MODEL, blank=True, null=True)
        ),
        migrations.AddIndex(
            model_name="packetdownload",
            index=models.Index(fields=["packet", "downloaded_at"], name="download_of_packet"),
        ),
        migrations.AddConstraint(
            model_name="packetdownload",
            constraint=models.CheckConstraint(
                condition=models.Q(("person__isnull", False), ("grant__isnull", False), _connector="OR"),
                name="download_is_somebodys",
            ),
        ),
        migrations.AddField(
            model_name="accessgrant",
            name="link",
            field=_fk("jobs.sharelink", related_name="grants", blank=True, null=True),
        ),
        migrations.AddConstraint(
            model_name="accessgrant",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("to_person__isnull", False),
                    models.Q(("to_email", ""), _negated=True),
                    ("link__isnull", False),
                    _connector="OR",
                ),
                name="grant_is_to_somebody",
            ),
        ),
        migrations.AddConstraint(
            model_name="accessgrant",
            constraint=models.CheckConstraint(condition=models.Q(("revoked_why__in", WHY)), name="grant_revoked_why"),
        ),
        migrations.AddConstraint(
            model_name="accessgrant",
            constraint=models.UniqueConstraint(
                condition=models.Q(("link__isnull", False)),
                fields=("organisation", "link", "packet"),
                name="grant_once_per_link_and_packet",
            ),
        ),
        migrations.CreateModel(
            name="CopyTransfer",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("at", models.DateTimeField()),
                ("first_byte", models.PositiveBigIntegerField()),
                ("sent_bytes", models.PositiveBigIntegerField()),
                ("complete", models.BooleanField()),
                ("stopped", models.BooleanField(default=False)),
                ("ip", models.GenericIPAddressField(blank=True, null=True)),
                ("user_agent", models.CharField(blank=True, default="", max_length=300)),
                ("download", _fk("jobs.packetdownload", related_name="transfers")),
                ("organisation", _fk("jobs.organisation")),
            ],
        ),
        migrations.CreateModel(
            name="LinkMiss",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("source", models.CharField(blank=True, default="", max_length=45)),
                ("minute", models.DateTimeField()),
                ("count", models.PositiveIntegerField(default=0)),
                ("told", models.BooleanField(default=False)),
            ],
            options={
                "constraints": [models.UniqueConstraint(fields=("source", "minute"), name="link_miss_once_per_minute")],
                "indexes": [models.Index(fields=["minute"], name="link_miss_by_age")],
            },
        ),
        migrations.CreateModel(
            name="Sample",
            fields=[
                ("id", _key()),
                ("opened_at", models.DateTimeField()),
                ("from_on", models.DateField()),
                ("to_on", models.DateField()),
                ("locations", models.JSONField(default=list)),
                ("only_granted", models.BooleanField(default=False)),
                ("seed", models.BinaryField(max_length=32)),
                ("seed_sha256", models.CharField(max_length=64)),
                ("population", models.JSONField(default=list)),
                ("population_sha256", models.CharField(max_length=64)),
                ("population_size", models.PositiveIntegerField()),
                ("bad", models.PositiveIntegerField()),
                ("confidence", models.CharField(max_length=8)),
                ("size", models.PositiveIntegerField()),
                ("access_until", models.DateTimeField()),
                ("drawn_at", models.DateTimeField(blank=True, null=True)),
                ("word", models.CharField(blank=True, default="", max_length=120)),
                ("drawn_by", _fk(settings.AUTH_USER_MODEL, blank=True, null=True)),
                ("for_person", _fk(settings.AUTH_USER_MODEL, blank=True, null=True)),
                ("opened_by", _fk(settings.AUTH_USER_MODEL)),
                ("organisation", _fk("jobs.organisation")),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("size__gte", 1), ("size__lte", models.F("population_size"))),
                        name="sample_within_population",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("bad__gte", 1), ("bad__lte", models.F("population_size"))),
                        name="sample_bad_within_population",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("from_on__lte", models.F("to_on"))), name="sample_has_a_period"
                    ),
                ],
                "indexes": [models.Index(fields=["organisation", "opened_at"], name="sample_by_age")],
            },
        ),
        migrations.CreateModel(
            name="SampledPacket",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("place", models.PositiveIntegerField()),
                ("grant", _fk("jobs.accessgrant", related_name="sampled", blank=True, null=True)),
                ("organisation", _fk("jobs.organisation")),
                ("packet", _fk("jobs.packet")),
                ("sample", _fk("jobs.sample", related_name="drawn")),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("organisation", "sample", "place"), name="sampled_place_once"),
                    models.UniqueConstraint(fields=("organisation", "sample", "packet"), name="sampled_packet_once"),
                ]
            },
        ),
        migrations.CreateModel(
            name="SampleArchive",
            fields=[
                ("id", _key()),
                ("state", models.CharField(default="waiting", max_length=8)),
                ("total", models.PositiveIntegerField()),
                ("requested_at", models.DateTimeField()),
                ("ready_at", models.DateTimeField(blank=True, null=True)),
                ("until", models.DateTimeField(blank=True, null=True)),
                ("sha256", models.CharField(blank=True, default="", max_length=64)),
                ("size_bytes", models.PositiveBigIntegerField(blank=True, null=True)),
                ("failure", models.CharField(blank=True, default="", max_length=300)),
                ("organisation", _fk("jobs.organisation")),
                ("person", _fk(settings.AUTH_USER_MODEL)),
                ("sample", _fk("jobs.sample", related_name="archives")),
            ],
            options={
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("state__in", ("waiting", "building", "ready", "failed", "gone"))),
                        name="sample_archive_state",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("state", "ready"), _negated=True),
                            models.Q(("until__isnull", False), models.Q(("sha256", ""), _negated=True)),
                            _connector="OR",
                        ),
                        name="sample_archive_ready_is_whole",
                    ),
                ]
            },
        ),
        migrations.CreateModel(
            name="ArchivedCopy",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("place", models.PositiveIntegerField()),
                ("name", models.CharField(max_length=80)),
                ("download", _one("jobs.packetdownload", related_name="archived")),
                ("organisation", _fk("jobs.organisation")),
                ("archive", _fk("jobs.samplearchive", related_name="copies")),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("organisation", "archive", "place"), name="archived_place_once")
                ]
            },
        ),
        migrations.RunPython(guard, loosen),
    ]
