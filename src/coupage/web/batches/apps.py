from django.apps import AppConfig

from coupage.web.common.invariants import Trigger, guard, kept_ledger

_MADE = (
    "(SELECT CASE WHEN b.void THEN 0 ELSE COALESCE(b.roasted_g, 0) END "
    "FROM batches_batch b WHERE b.id = NEW.batch_id)"
)
_MADE_THEN = "(CASE WHEN NEW.void THEN 0 ELSE COALESCE(NEW.roasted_g, 0) END)"
_SPENT = "(SELECT COALESCE(SUM(mass_g), 0) FROM batches_roastedentry WHERE batch_id = NEW.id)"


class BatchesConfig(AppConfig):
    name = "coupage.web.batches"
    label = "batches"
    verbose_name = "Batches"

    def ready(self) -> None:
        ledger = "batches_roastedentry"
        guard(
            self,
            [
                *kept_ledger(
                    ledger,
                    parent="batches_batch",
                    link="batch_id",
                    amount="mass_g",
                    made=_MADE,
                    short="not so much of this batch is on hand at that date",
                ),
                Trigger(
                    name=f"{ledger}_hold",
                    table=ledger,
                    event="INSERT",
                    refuse_when=(
                        "NEW.kind = 'blended' AND "
                        "(SELECT verdict FROM batches_batch WHERE id = NEW.batch_id) = 'hold'"
                    ),
                    message="this batch is on hold; it cannot be blended",
                    first="PERFORM 1 FROM batches_batch WHERE id = NEW.batch_id FOR NO KEY UPDATE;",
                ),
                Trigger(
                    name="batches_batch_spent",
                    table="batches_batch",
                    event="UPDATE OF roasted_g, void",
                    refuse_when=f"{_MADE_THEN} + {_SPENT} < 0",
                    message="more of this batch is used already than it would then have given",
                ),
            ],
        )
