"""Addresses, in the order of the work."""

from django.urls import include, path

from coupage.web.common.views import bad_request, not_allowed, not_found, server_error

urlpatterns = [
    path("", include("coupage.web.blends.today_urls")),
    path("", include("coupage.web.common.urls")),
    path("people/", include("coupage.web.people.urls")),
    path("coffees/", include("coupage.web.coffees.urls")),
    path("batches/", include("coupage.web.batches.urls")),
    path("cuppings/", include("coupage.web.cuppings.urls")),
    path("", include("coupage.web.blends.urls")),
]

handler400 = bad_request
handler403 = not_allowed
handler404 = not_found
handler500 = server_error
