from django.urls import path

from coupage.web.coffees import views
from coupage.web.coffees.tables import DOORS
from coupage.web.people.doors import door_urls

app_name = "coffees"

urlpatterns = [
    path("", views.index, name="index"),
    path("add/", views.add, name="add"),
    path("<int:pk>/", views.lot, name="lot"),
    path("<int:pk>/change/", views.change, name="change"),
    path("<int:pk>/put-away/", views.archive, name="archive"),
    path("<int:pk>/stock/", views.enter_stock, name="enter-stock"),
    path("<int:pk>/approaches/add/", views.add_approach, name="add-approach"),
    path("approaches/<int:pk>/targets/", views.add_version, name="add-version"),
    path("approaches/<int:pk>/put-away/", views.archive_approach, name="archive-approach"),
    *door_urls(*DOORS),
]
