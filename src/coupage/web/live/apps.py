from django.apps import AppConfig


class LiveConfig(AppConfig):
    name = "coupage.web.live"
    label = "live"
    verbose_name = "Live table"

    def ready(self) -> None:
        from coupage.web.live import joining
        from coupage.web.live.seats import CuppingSeats

        joining.register("cupping", CuppingSeats())
