from django.apps import AppConfig

from coupage.units import PPM
from coupage.web.common.invariants import guard, sealed_sum


class TrialsConfig(AppConfig):
    name = "coupage.web.trials"
    label = "trials"
    verbose_name = "Trials"

    def ready(self) -> None:
        guard(
            self,
            sealed_sum(
                parent="trials_trial",
                child="trials_trialshare",
                link="trial_id",
                of="a trial",
                total=PPM,
            ),
        )
