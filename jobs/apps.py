"""Registers the record's models and what is checked before a start."""

from django.apps import AppConfig

from jobs import deploy_checks

__all__ = ["JobsConfig", "deploy_checks"]


class JobsConfig(AppConfig):
    name = "jobs"
    default_auto_field = "django.db.models.BigAutoField"
