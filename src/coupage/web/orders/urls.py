from django.urls import path

from coupage.web.orders.tables import DOORS
from coupage.web.orders.views import customers, expected, orders
from coupage.web.people.doors import door_urls

app_name = "orders"

urlpatterns = [
    path("", orders.index, name="index"),
    path("add/", orders.add, name="add"),
    path("<int:pk>/", orders.order, name="order"),
    path("<int:pk>/change/", orders.change, name="change"),
    path("<int:pk>/state/", orders.move, name="move"),
    path("customers/", customers.customers, name="customers"),
    path("customers/add/", customers.add_customer, name="add-customer"),
    path("customers/<int:pk>/", customers.customer, name="customer"),
    path("customers/<int:pk>/change/", customers.change_customer, name="change-customer"),
    path("customers/<int:pk>/put-away/", customers.archive_customer, name="archive-customer"),
    path("expected/", expected.index, name="expected-index"),
    path("expected/<int:pk>/", expected.expected, name="expected"),
    path("expected/<int:pk>/set/", expected.expect, name="expect"),
    path("buying/", expected.buying, name="buying"),
    path("standing/", customers.standing, name="standing"),
    path("standing/add/", customers.add_standing, name="add-standing"),
    path("standing/write/", orders.write_standing, name="write-standing"),
    path("standing/<int:pk>/change/", customers.change_standing, name="change-standing"),
    path("standing/<int:pk>/put-away/", customers.archive_standing, name="archive-standing"),
    *door_urls(*DOORS),
]
