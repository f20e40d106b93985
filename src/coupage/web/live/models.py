"""What only a table under way needs: codes to join by, tickets to seats."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

__all__ = ["JoinCode", "Ticket", "WrongGuess"]


class JoinCode(models.Model):
    """A short code by which strangers join one thing, until it is revoked.

    ``kind`` names what sort of thing it is (see :mod:`coupage.web.live.joining`), ``key`` which.
    """

    letters = models.CharField(max_length=8, unique=True)
    kind = models.CharField(max_length=20)
    key = models.PositiveBigIntegerField()
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    revoked_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "key"],
                condition=Q(revoked_at__isnull=True),
                name="joincode_one_at_a_time",
            ),
            models.CheckConstraint(condition=~Q(letters=""), name="joincode_has_letters"),
        ]

    def __str__(self) -> str:
        return f"{self.letters[:3]}-{self.letters[3:]}"


class Ticket(models.Model):
    """The right to fill one place at one thing, held by whoever has the signed link.

    ``place`` is the row that was given to its holder: a seat at a table, a place in a test.
    ``once`` makes joining idempotent: the same form sent twice gives one place.
    """

    kind = models.CharField(max_length=20)
    key = models.PositiveBigIntegerField()
    place = models.PositiveBigIntegerField()
    name = models.CharField(max_length=60)
    code = models.ForeignKey(JoinCode, null=True, on_delete=models.PROTECT, related_name="tickets")
    once = models.CharField(max_length=32, null=True, unique=True)
    made_at = models.DateTimeField()
    revoked_at = models.DateTimeField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["kind", "key", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["kind", "place"],
                condition=Q(revoked_at__isnull=True),
                name="ticket_one_for_a_place",
            ),
            models.CheckConstraint(condition=~Q(name=""), name="ticket_has_name"),
        ]

    def __str__(self) -> str:
        return self.name


class WrongGuess(models.Model):
    """A code that was typed and opens nothing; kept for some minutes, to slow guessing down.

    ``who`` is a keyed fingerprint of a network address, never the address itself.
    """

    who = models.CharField(max_length=64)
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["who", "at"], name="wrongguess_who_at")]

    def __str__(self) -> str:
        return f"{self.at:%H:%M:%S}"
