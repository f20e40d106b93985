"""Results that take long: worked out once for the same data, kept, and found by a fingerprint.

The row of a result, still empty, is the mark by which several server processes agree on who works
at it. A long one runs beside the pages; the page that asks for it raises :class:`BeliefsPending`
and is shown a note meanwhile (see ``middleware.py``).
"""

from __future__ import annotations

import datetime as dt
import logging
import threading
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any

from django.db import connection, models, transaction
from django.utils import timezone

from coupage.panel import MODEL_VERSION

__all__ = ["BeliefsPending", "Kept", "impatient"]

log = logging.getLogger(__name__)

THREAD = "working it out"
STALE = dt.timedelta(minutes=10)

# Pages do not wait for long work; scripts, tests and the demo do.
impatient: ContextVar[bool] = ContextVar("impatient", default=False)


class BeliefsPending(Exception):  # noqa: N818 - a state, not a fault
    """A long piece of work is on its way; ``since`` says when it began."""

    def __init__(self, since: dt.datetime) -> None:
        super().__init__("what the tables taught is being worked out")
        self.since = since


class Kept:
    """One sort of result, kept in rows with fingerprint, version of the model, time and data.

    Parameters
    ----------
    model
        The table.
    most
        How many results stay; the oldest go.
    """

    def __init__(self, model: type[models.Model], most: int) -> None:
        self.model, self.most = model, most
        self._failed: dict[str, Exception] = {}
        self._lock = threading.Lock()

    def find(self, fingerprint: str) -> bytes | None:
        """Return a finished result. A failure beside the pages is raised here, once."""
        with self._lock:
            if fingerprint in self._failed:
                raise self._failed.pop(fingerprint)
        row: Any = self._rows(fingerprint).exclude(data=b"").first()
        return None if row is None else bytes(row.data)

    @transaction.atomic
    def keep(self, fingerprint: str, data: bytes) -> None:
        """Keep a result, and let the oldest go."""
        manager = self.model._default_manager
        manager.update_or_create(
            fingerprint=fingerprint,
            model_version=MODEL_VERSION,
            defaults={"made_at": timezone.now(), "data": data},
        )
        old = manager.order_by("-made_at").values_list("pk", flat=True)[self.most :]
        manager.filter(pk__in=list(old)).delete()

    def begin(self, fingerprint: str, work: Callable[[], object]) -> dt.datetime:
        """Begin work beside the pages, unless somebody is at it; when it began."""
        now = timezone.now()
        made: tuple[Any, bool] = self.model._default_manager.get_or_create(
            fingerprint=fingerprint,
            model_version=MODEL_VERSION,
            defaults={"made_at": now, "data": b""},
        )
        row, mine = made
        began: dt.datetime = row.made_at
        if not mine and now - began > STALE:
            # Whoever began it is gone: the first to move the mark takes over.
            stale = self._rows(fingerprint).filter(made_at=began, data=b"")
            mine, began = bool(stale.update(made_at=now)), now
        if mine:
            threading.Thread(
                target=self._work, args=(fingerprint, work), name=THREAD, daemon=True
            ).start()
        return began

    def _work(self, fingerprint: str, work: Callable[[], object]) -> None:
        try:
            work()
        except Exception as error:
            log.exception("work on %s %s failed", self.model._meta.verbose_name, fingerprint[:12])
            with self._lock:
                self._failed[fingerprint] = error
            self._rows(fingerprint).filter(data=b"").delete()
        finally:
            connection.close()

    def _rows(self, fingerprint: str) -> models.QuerySet[models.Model]:
        return self.model._default_manager.filter(
            fingerprint=fingerprint, model_version=MODEL_VERSION
        )
