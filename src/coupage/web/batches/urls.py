from django.urls import path

from coupage.web.batches import machine_views, views
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
    path("<int:pk>/label/", machine_views.label, name="label"),
    path("<int:pk>/uncharge/", machine_views.uncharge, name="uncharge"),
    path("<int:pk>/first-crack/", machine_views.first_crack, name="first-crack"),
    path("<int:pk>/drop/", machine_views.drop, name="drop"),
    path("<int:pk>/weigh/", machine_views.weigh, name="weigh"),
    path("labels/", machine_views.labels, name="labels"),
    path("at/", machine_views.at_machines, name="at-machines"),
    path("at/<int:pk>/", machine_views.at_machine, name="at-machine"),
    path("at/<int:pk>/plan/", machine_views.plan, name="plan"),
    path("planned/<int:pk>/charge/", machine_views.charge, name="charge"),
    path("planned/<int:pk>/off/", machine_views.off_list, name="off-list"),
    path("machines/", views.machines, name="machines"),
    path("machines/add/", views.add_machine, name="add-machine"),
    path("machines/<int:pk>/", views.change_machine, name="change-machine"),
    path("machines/<int:pk>/put-away/", views.archive_machine, name="archive-machine"),
    *door_urls(*DOORS),
]
