"""What was taken: the packet file, or its bundle."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0012_signing")]

    operations = [
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
