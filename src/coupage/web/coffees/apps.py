from django.apps import AppConfig


class CoffeesConfig(AppConfig):
    name = "coupage.web.coffees"
    label = "coffees"
    verbose_name = "Coffees"
