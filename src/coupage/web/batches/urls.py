from django.urls import path

from coupage.web.batches import views
from coupage.web.batches.tables import DOORS
from coupage.web.people.doors import door_urls

app_name = "batches"

urlpatterns = [
    path("", views.index, name="index"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.batch, name="batch"),
    path("<int:pk>/change/", views.change, name="change"),
    path("<int:pk>/verdict/", views.judge, name="judge"),
    path("<int:pk>/void/", views.void, name="void"),
    path("machines/", views.machines, name="machines"),
    path("machines/add/", views.add_machine, name="add-machine"),
    path("machines/<int:pk>/", views.change_machine, name="change-machine"),
    path("machines/<int:pk>/put-away/", views.archive_machine, name="archive-machine"),
    *door_urls(*DOORS),
]
