"""What only a table under way needs: codes, tickets to seats, the clock, and every touch."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q

from coupage.web.cuppings.models import Attribute, Cup, Cupping, CuppingPass, Seat

__all__ = [
    "ClockStep",
    "FaultMark",
    "JoinCode",
    "Shot",
    "TableClock",
    "Ticket",
    "Touch",
    "WrongGuess",
]


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
    waiting = models.PositiveIntegerField("touches still on the device", default=0)
    nudged_at = models.DateTimeField(null=True, blank=True)

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


class TableClock(models.Model):
    """The one clock of a table, counted from the pour.

    It shows ``elapsed_ms`` while it stands; while it runs, that and what has passed since
    ``running_since``.
    """

    cupping = models.OneToOneField(Cupping, on_delete=models.CASCADE, related_name="clock")
    elapsed_ms = models.PositiveBigIntegerField(default=0)
    running_since = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return f"clock of {self.cupping}"


class ClockStep(models.Model):
    """A step on this table's clock: the protocol's, with what the host put off."""

    clock = models.ForeignKey(TableClock, on_delete=models.CASCADE, related_name="steps")
    order = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=60)
    at_s = models.PositiveIntegerField("seconds after the pour", null=True, blank=True)
    caution = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["clock", "order"]
        constraints = [
            models.UniqueConstraint(fields=["clock", "order"], name="clockstep_order"),
        ]

    def __str__(self) -> str:
        return self.name


class Touch(models.Model):
    """One thing that a taster entered, as their device sent it; nothing is ever taken out.

    ``key`` is drawn on the device, so that a touch sent twice is kept once. ``made_at`` is the
    device's time set right by the table's clock; of two touches of one thing the later one counts,
    whatever the order in which they came. ``fate`` says what became of it.
    """

    class What(models.TextChoices):
        RATING = "rating", "rating"
        WORD = "word", "word"
        FAULT = "fault", "fault"
        DONE = "done", "done"

    class Fate(models.TextChoices):
        KEPT = "kept", "kept"
        OLDER = "older", "older than what was there"
        LATE = "late", "after the close"
        ADMITTED = "admitted", "after the close, admitted"
        LEFT_OUT = "left out", "after the close, left out"

    seat = models.ForeignKey(Seat, on_delete=models.CASCADE, related_name="touches")
    key = models.CharField(max_length=32)
    device = models.CharField(max_length=32)
    what = models.CharField(max_length=6, choices=What.choices)
    cup = models.ForeignKey(Cup, null=True, on_delete=models.CASCADE, related_name="+")
    round = models.ForeignKey(CuppingPass, null=True, on_delete=models.CASCADE, related_name="+")
    attribute = models.ForeignKey(Attribute, null=True, on_delete=models.PROTECT, related_name="+")
    value = models.DecimalField(max_digits=4, decimal_places=2, null=True)
    word = models.CharField(max_length=40, blank=True)
    on = models.BooleanField("said, marked or done, rather than taken back", default=True)
    made_at = models.DateTimeField()
    came_at = models.DateTimeField()
    fate = models.CharField(max_length=8, choices=Fate.choices)

    class Meta:
        ordering = ["id"]
        verbose_name_plural = "touches"
        constraints = [
            models.UniqueConstraint(fields=["seat", "key"], name="touch_once"),
            models.CheckConstraint(
                condition=Q(value__isnull=True) | Q(value__gte=0, value__lte=10),
                name="touch_0_to_10",
            ),
            models.CheckConstraint(
                condition=Q(
                    what="rating", cup__isnull=False, round__isnull=False, attribute__isnull=False
                )
                | Q(what__in=["word", "fault"], cup__isnull=False)
                | Q(what="done"),
                name="touch_says_of_what",
            ),
        ]
        indexes = [models.Index(fields=["seat", "cup"], name="touch_seat_cup")]

    def __str__(self) -> str:
        return f"{self.what} {self.key[:6]}"


class FaultMark(models.Model):
    """A taster found a fault in a cup."""

    cup = models.ForeignKey(Cup, on_delete=models.CASCADE, related_name="faults")
    seat = models.ForeignKey(Seat, on_delete=models.CASCADE, related_name="faults")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["cup", "seat"], name="faultmark_once")]

    def __str__(self) -> str:
        return f"fault in {self.cup}"


class Shot(models.Model):
    """How the drink in one cup was made: an espresso or a strong brew, and what milk went on it."""

    cup = models.OneToOneField(Cup, on_delete=models.CASCADE, related_name="shot")
    dose_mg = models.PositiveIntegerField("dose")
    drink_mg = models.PositiveIntegerField("drink")
    seconds = models.PositiveSmallIntegerField("time", null=True, blank=True)
    tds_hundredths = models.PositiveSmallIntegerField(
        "strength, hundredths of a per cent", null=True, blank=True
    )
    milk_g = models.PositiveSmallIntegerField("milk", null=True, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(dose_mg__gt=0, drink_mg__gt=0), name="shot_masses_positive"
            ),
            models.CheckConstraint(
                condition=Q(tds_hundredths__isnull=True) | Q(tds_hundredths__lt=10_000),
                name="shot_strength_below_all",
            ),
        ]

    def __str__(self) -> str:
        return f"shot of {self.cup}"
