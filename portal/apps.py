"""Registers the portal's templates tags and start-up checks."""

from django.apps import AppConfig


class PortalConfig(AppConfig):
    name = "portal"
