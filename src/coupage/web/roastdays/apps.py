from django.apps import AppConfig


class RoastdaysConfig(AppConfig):
    name = "coupage.web.roastdays"
    label = "roastdays"
    verbose_name = "Roast days"
