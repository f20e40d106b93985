from django.apps import AppConfig


class KeepingConfig(AppConfig):
    name = "coupage.web.keeping"
    label = "keeping"
    verbose_name = "Keeping"

    def ready(self) -> None:
        from coupage.web.batches.proposing import add_source

        # The room behind taste costs a second to import; it waits for the first batch looked at.
        def tasted(batch):  # type: ignore[no-untyped-def]
            from coupage.web.keeping.verdicts import taste_reasons

            return taste_reasons(batch)

        add_source(tasted)
