"""Every route: the API under /api/v1/, its description beside it, pages for people elsewhere."""

from django.urls import URLPattern, URLResolver, path

from portal.health import livez, readyz

urlpatterns: list[URLPattern | URLResolver] = [
    path("livez", livez, name="livez"),
    path("readyz", readyz, name="readyz"),
]
