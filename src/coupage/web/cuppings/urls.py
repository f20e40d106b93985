from django.urls import path

from coupage.web.cuppings import views
from coupage.web.cuppings.tables import DOORS
from coupage.web.people.doors import door_urls

app_name = "cuppings"

urlpatterns = [
    path("", views.index, name="index"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.cupping, name="cupping"),
    path("attributes/", views.attributes, name="attributes"),
    *door_urls(*DOORS),
]
