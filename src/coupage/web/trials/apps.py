from django.apps import AppConfig


class TrialsConfig(AppConfig):
    name = "coupage.web.trials"
    label = "trials"
    verbose_name = "Trials"
