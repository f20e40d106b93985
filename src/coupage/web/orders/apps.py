from django.apps import AppConfig


class OrdersConfig(AppConfig):
    name = "coupage.web.orders"
    label = "orders"
    verbose_name = "Orders"
