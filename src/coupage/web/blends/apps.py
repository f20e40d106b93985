from django.apps import AppConfig

from coupage.units import PPM
from coupage.web.common.invariants import guard, sealed_sum


class BlendsConfig(AppConfig):
    name = "coupage.web.blends"
    label = "blends"
    verbose_name = "Blends"

    def ready(self) -> None:
        guard(
            self,
            sealed_sum(
                parent="blends_recipe",
                child="blends_recipeshare",
                link="recipe_id",
                of="a recipe",
                total=PPM,
            ),
        )
