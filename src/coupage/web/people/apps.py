from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "coupage.web.people"
    label = "people"
    verbose_name = "People"
