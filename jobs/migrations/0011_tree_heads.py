"""The log's tree in tiles, its signed heads, and where people are written to; tiles and heads never change."""

import django.db.models.deletion
from django.db import migrations, models

TILES = "jobs_logtile"
HEADS = "jobs_treehead"
SAME_TILE = (
    "kept.organisation_id = NEW.organisation_id AND kept.level = NEW.level AND kept.\"index\" = NEW.\"index\""
)
SAME_DAY = "kept.organisation_id = NEW.organisation_id AND kept.day = NEW.day AND kept.is_daily"


def guard(apps, schema_editor):
    for table in (TILES, HEADS):
        if schema_editor.connection.vendor == "postgresql":
            for name, event in (("guard_delete", "DELETE"), ("guard_update", "UPDATE")):
                schema_editor.execute(
                    f"CREATE TRIGGER {name} BEFORE {event} ON {table} "
                    "FOR EACH ROW EXECUTE FUNCTION guard_refuse()",
                    params=None,
                )
            schema_editor.execute(
                f"CREATE TRIGGER guard_truncate BEFORE TRUNCATE ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION guard_truncate()",
                params=None,
            )
        else:
            for event in ("DELETE", "UPDATE"):
                _sqlite(schema_editor, f"guard_{event.lower()}", table, event)
    if schema_editor.connection.vendor == "sqlite":
        # INSERT OR REPLACE deletes without any DELETE trigger. A tile that is there already is left alone by
        # INSERT OR IGNORE as well, so the guard speaks only where the contents differ.
        over = f"kept.id = NEW.id OR ({SAME_TILE} AND (kept.hashes <> NEW.hashes OR kept.root <> NEW.root))"
        _sqlite(schema_editor, "guard_replace", TILES, "INSERT", f"EXISTS (SELECT 1 FROM {TILES} kept WHERE {over})")
        over = f"kept.id = NEW.id OR ({SAME_DAY})"
        _sqlite(schema_editor, "guard_replace", HEADS, "INSERT", f"EXISTS (SELECT 1 FROM {HEADS} kept WHERE {over})")


def _sqlite(schema_editor, name, table, event, condition=""):
    when = f"WHEN {condition} " if condition else ""
    schema_editor.execute(
        f"CREATE TRIGGER {name}_{table} BEFORE {event} ON {table} FOR EACH ROW {when}"
        f"BEGIN SELECT RAISE(ABORT, '{event} of {table}: what was recorded is not changed'); END",
        params=None,
    )


def loosen(apps, schema_editor):
    """Nothing to do: the guards go with their tables."""


class Migration(migrations.Migration):
    dependencies = [("jobs", "0010_reading_bay_and_more")]

    operations = [
        migrations.AddField(
            model_name="person",
            name="email",
            field=models.EmailField(blank=True, default="", max_length=254),
        ),
        migrations.CreateModel(
            name="LogTile",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("level", models.PositiveSmallIntegerField()),
                ("index", models.PositiveBigIntegerField()),
                ("hashes", models.BinaryField(max_length=8192)),
                ("root", models.BinaryField(max_length=32)),
                (
                    "organisation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.organisation"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(fields=("organisation", "level", "index"), name="log_tile_once")
                ],
            },
        ),
        migrations.CreateModel(
            name="TreeHead",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("size", models.PositiveBigIntegerField()),
                ("root", models.CharField(max_length=64)),
                ("at", models.CharField(max_length=40)),
                ("is_daily", models.BooleanField(default=False)),
                ("day", models.DateField(blank=True, null=True)),
                ("signature", models.BinaryField(blank=True, default=b"")),
                ("key_sha256", models.CharField(blank=True, default="", max_length=64)),
                ("certificate", models.BinaryField(blank=True, default=b"")),
                ("chain", models.JSONField(blank=True, default=list)),
                ("is_demo", models.BooleanField(default=False)),
                ("consistency", models.JSONField(blank=True, default=list)),
                (
                    "organisation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="jobs.organisation"
                    ),
                ),
                (
                    "previous",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="later",
                        to="jobs.treehead",
                    ),
                ),
            ],
            options={
                "indexes": [models.Index(fields=["organisation", "size"], name="tree_head_size")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("size__gte", 1)), name="tree_head_of_one_or_more"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("day__isnull", False), ("is_daily", True)),
                            models.Q(("day__isnull", True), ("is_daily", False)),
                            _connector="OR",
                        ),
                        name="tree_head_day_if_daily",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("is_daily", True)),
                        fields=("organisation", "day"),
                        name="tree_head_once_a_day",
                    ),
                ],
            },
        ),
        migrations.RunPython(guard, loosen),
    ]
