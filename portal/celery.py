"""The Celery application: configuration from Django's settings, tasks from ``jobs.tasks``."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")

app = Celery("witness_mark")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["jobs"])
# Also in threads that made no application of their own.
app.set_default()
