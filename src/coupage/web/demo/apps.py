from django.apps import AppConfig


class DemoConfig(AppConfig):
    name = "coupage.web.demo"
    label = "demo"
    verbose_name = "Demo roastery"
