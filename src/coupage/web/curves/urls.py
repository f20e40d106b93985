from django.urls import path

from coupage.web.curves import views

app_name = "curves"

urlpatterns = [
    path("", views.index, name="index"),
    path("take-in/", views.take_in, name="take-in"),
    path("columns/", views.columns_list, name="columns-list"),
    path("columns/<int:pk>/", views.columns, name="columns"),
    path("machines/<int:pk>/", views.probe, name="probe"),
    path("<int:pk>/", views.curve, name="curve"),
    path("<int:pk>/readings/", views.readings, name="readings"),
    path("<int:pk>/reference/", views.reference, name="reference"),
    path("<int:pk>/reference/end/", views.end_reference, name="end-reference"),
    path("<int:pk>/void/", views.void, name="void"),
]
