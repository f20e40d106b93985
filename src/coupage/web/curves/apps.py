from django.apps import AppConfig


class CurvesConfig(AppConfig):
    name = "coupage.web.curves"
    label = "curves"
    verbose_name = "Curves"
