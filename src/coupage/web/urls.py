"""Addresses, in the order of the work."""

from django.urls import include, path

from coupage.web.common import views

urlpatterns = [
    path("", include("coupage.web.today.urls")),
    path("", include("coupage.web.common.urls")),
    path("people/", include("coupage.web.people.urls")),
    path("coffees/", include("coupage.web.coffees.urls")),
    path("batches/", include("coupage.web.batches.urls")),
    path("curves/", include("coupage.web.curves.urls")),
    path("cuppings/", include("coupage.web.cuppings.urls")),
    path("", include("coupage.web.blends.urls")),
    path("keeping/", include("coupage.web.keeping.urls")),
    path("trials/", include("coupage.web.trials.urls")),
    path("", include("coupage.web.live.urls")),
    path("guests/", include("coupage.web.guests.urls")),
    path("orders/", include("coupage.web.orders.urls")),
    path("roast-days/", include("coupage.web.roastdays.urls")),
    path("production/", include("coupage.web.production.urls")),
]

handler400 = views.bad_request
handler403 = views.forbidden
handler404 = views.not_found
handler500 = views.server_error
