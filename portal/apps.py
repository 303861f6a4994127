"""Registers the portal's template tags and start-up checks, and the Celery application in every process."""

from django.apps import AppConfig

from portal.celery import app as celery_app

__all__ = ["PortalConfig", "celery_app"]


class PortalConfig(AppConfig):
    name = "portal"
