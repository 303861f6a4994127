from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("jobs", "0010_reading_bay_and_more")]

    operations = []
