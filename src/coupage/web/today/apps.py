from django.apps import AppConfig


class TodayConfig(AppConfig):
    name = "coupage.web.today"
    label = "today"
    verbose_name = "Today"
