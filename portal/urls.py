"""Every route: the API under /api/v1/, pages for people elsewhere."""

from django.urls import URLPattern, URLResolver

urlpatterns: list[URLPattern | URLResolver] = []
