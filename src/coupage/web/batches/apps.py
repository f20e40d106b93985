from django.apps import AppConfig


class BatchesConfig(AppConfig):
    name = "coupage.web.batches"
    label = "batches"
    verbose_name = "Batches"
