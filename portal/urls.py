"""Every route: the API under /api/v1/, its description beside it, pages for people elsewhere."""

from django.urls import URLPattern, URLResolver, include, path

from portal.api.urls import urlpatterns as api_urlpatterns
from portal.description import docs, problems, schema
from portal.health import livez, readyz
from portal.public_heads import atom, consistency, heads, inclusion
from portal.web.urls import urlpatterns as web_urlpatterns

urlpatterns: list[URLPattern | URLResolver] = [
    path("livez", livez, name="livez"),
    path("readyz", readyz, name="readyz"),
    path("api/schema/", schema, name="schema"),
    path("api/docs/", docs, name="docs"),
    path("api/problems", problems, name="problems"),
    path("api/v1/", include((api_urlpatterns, "api"))),
    path("heads/<uuid:organisation_id>/", heads, name="heads"),
    path("heads/<uuid:organisation_id>/atom", atom, name="heads-atom"),
    path("heads/<uuid:organisation_id>/consistency", consistency, name="heads-consistency"),
    path("heads/<uuid:organisation_id>/inclusion/<int:n>", inclusion, name="heads-inclusion"),
    path("", include((web_urlpatterns, "web"))),
]

handler400 = "portal.web.failures.not_understood"
handler403 = "portal.web.failures.not_allowed"
handler404 = "portal.web.failures.not_found"
handler500 = "portal.web.failures.server_error"
