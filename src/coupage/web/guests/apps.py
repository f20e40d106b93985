from django.apps import AppConfig

from coupage.web.common.invariants import Trigger, guard

_TEST_OF_SET = (
    "(SELECT t.{what} FROM guests_guesttest t JOIN guests_tray y ON y.test_id = t.id "
    "JOIN guests_cupset c ON c.tray_id = y.id WHERE c.id = {row})"
)
_STATE_OF_TRAY = (
    "(SELECT t.state FROM guests_guesttest t JOIN guests_tray y ON y.test_id = t.id "
    "WHERE y.id = {row}.tray_id)"
)


def _state(row: str) -> str:
    return _TEST_OF_SET.format(what="state", row=row)


_PLACES = '(SELECT LENGTH(c."order") FROM guests_cupset c WHERE c.id = NEW.cups_id)'
# Two cups are pointed at in a tetrad, one in every other test, and each must be there.
_CUPS_POINTED_AT = (
    f"LENGTH(NEW.picked) <> (CASE {_TEST_OF_SET.format(what='kind', row='NEW.cups_id')} "
    "WHEN 'tetrad' THEN 2 ELSE 1 END) "
    "OR CAST(SUBSTR(NEW.picked, LENGTH(NEW.picked), 1) AS INTEGER) >= "
    f"{_PLACES}"
)


class GuestsConfig(AppConfig):
    name = "coupage.web.guests"
    label = "guests"
    verbose_name = "Guest tests"

    def ready(self) -> None:
        from coupage.web.guests.places import KIND, GuestPlaces
        from coupage.web.live import joining

        joining.register(KIND, GuestPlaces())
        fixed = "the cups of a test that was opened stay as they are"
        guard(
            self,
            [
                Trigger(
                    "guests_answer_open",
                    "guests_answer",
                    "INSERT",
                    f"COALESCE({_state('NEW.cups_id')}, '') <> 'open'",
                    "answers are taken while a test is under way",
                ),
                Trigger(
                    "guests_answer_cups",
                    "guests_answer",
                    "INSERT",
                    _CUPS_POINTED_AT,
                    "an answer points at cups of its own set, two in a tetrad, else one",
                ),
                Trigger(
                    "guests_answer_stays",
                    "guests_answer",
                    "UPDATE OF cups_id, picked, at",
                    "NEW.cups_id <> OLD.cups_id OR NEW.picked <> OLD.picked OR NEW.at <> OLD.at",
                    "an answer is never changed; take it back and enter another",
                ),
                Trigger(
                    "guests_cupset_stays",
                    "guests_cupset",
                    "UPDATE",
                    f"COALESCE({_STATE_OF_TRAY.format(row='OLD')}, '') <> 'planned'",
                    fixed,
                ),
                Trigger(
                    "guests_cupset_goes",
                    "guests_cupset",
                    "DELETE",
                    f"COALESCE({_STATE_OF_TRAY.format(row='OLD')}, 'planned') <> 'planned'",
                    fixed,
                ),
            ],
        )
