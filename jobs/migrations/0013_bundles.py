"""What was taken: the packet file, or its bundle; how often strangers had files checked."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0012_signing")]

    operations = [
        migrations.CreateModel(
            name="PublicCheck",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("source", models.CharField(blank=True, default="", max_length=45)),
                ("minute", models.DateTimeField()),
                ("count", models.PositiveIntegerField(default=0)),
            ],
            options={
                "indexes": [models.Index(fields=["minute"], name="public_check_by_age")],
                "constraints": [
                    models.UniqueConstraint(fields=("source", "minute"), name="public_check_once_per_minute")
                ],
            },
        ),
        migrations.AddField(
            model_name="packetdownload",
            name="form",
            field=models.CharField(default="pdf", max_length=6),
        ),
        migrations.AddConstraint(
            model_name="packetdownload",
            constraint=models.CheckConstraint(
                condition=models.Q(("form__in", ("pdf", "bundle"))), name="download_form"
            ),
        ),
    ]
