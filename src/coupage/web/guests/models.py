"""Guest tests: can anybody tell two coffees apart? Sides, trays of coded cups, and answers."""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from coupage.difference import TESTS
from coupage.difference import CupSet as RoomSet
from coupage.units import PPM
from coupage.web.batches.models import Batch
from coupage.web.blends.models import Recipe

__all__ = ["MOST_REPEATS", "MOST_TRAYS", "Answer", "CupSet", "GuestTest", "Side", "Tray"]

MOST_TRAYS = 300
MOST_REPEATS = 8


class GuestTest(models.Model):
    """One test: what is asked, how sure the answer shall be, and how far it has come."""

    class State(models.TextChoices):
        PLANNED = "planned", "being set up"
        OPEN = "open", "under way"
        CLOSED = "closed", "closed"

    class Question(models.TextChoices):
        DIFFERENCE = "difference", "Is there a difference?"
        LIKENESS = "likeness", "Are they alike enough?"

    class Kind(models.TextChoices):
        TRIANGLE = "triangle", "triangle: three cups, which is the odd one"
        DUO_TRIO = "duo-trio", "duo-trio: which of two is like the open reference"
        TWO_AFC = "2-AFC", "paired (2-AFC): which of two has more of something"
        THREE_AFC = "3-AFC", "3-AFC: which of three has the most of something"
        TETRAD = "tetrad", "tetrad: four cups, sort them two and two"

    name = models.CharField(max_length=80, unique=True)
    question = models.CharField(
        max_length=10, choices=Question.choices, default=Question.DIFFERENCE
    )
    kind = models.CharField("test", max_length=8, choices=Kind.choices, default=Kind.TRIANGLE)
    asked_for = models.CharField("more of what", max_length=40, blank=True)
    share_ppm = models.PositiveIntegerField("guests who may notice", default=300_000)
    alpha_ppm = models.PositiveIntegerField("risk of a false difference", default=50_000)
    beta_ppm = models.PositiveIntegerField("risk of a false likeness", default=200_000)
    tasters = models.PositiveSmallIntegerField(
        validators=[MinValueValidator(1), MaxValueValidator(MOST_TRAYS)]
    )
    repeats = models.PositiveSmallIntegerField(
        default=1, validators=[MinValueValidator(1), MaxValueValidator(MOST_REPEATS)]
    )
    stops_early = models.BooleanField("may stop early", default=False)
    note = models.TextField(blank=True)
    state = models.CharField(
        max_length=8, choices=State.choices, default=State.PLANNED, editable=False
    )
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    opened_at = models.DateTimeField(null=True, blank=True, editable=False)
    closed_at = models.DateTimeField(null=True, blank=True, editable=False)
    # How often it was opened again after its answer had been seen.
    reopened = models.PositiveSmallIntegerField(default=0, editable=False)
    archived = models.BooleanField(default=False, editable=False)
    revision = models.PositiveIntegerField(default=1, editable=False)

    class Meta:
        ordering = ["-made_at", "-id"]
        constraints = [
            models.CheckConstraint(condition=~Q(name=""), name="guesttest_has_name"),
            models.CheckConstraint(condition=Q(kind__in=TESTS), name="guesttest_kind_known"),
            models.CheckConstraint(
                condition=Q(question__in=["difference", "likeness"]),
                name="guesttest_question_known",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["2-AFC", "3-AFC"]) | ~Q(asked_for=""),
                name="guesttest_says_more_of_what",
                violation_error_message="Say what there is more of, such as acidity.",
            ),
            models.CheckConstraint(
                condition=Q(share_ppm__gt=0, share_ppm__lt=PPM), name="guesttest_share_range"
            ),
            models.CheckConstraint(
                condition=Q(
                    alpha_ppm__gt=0, alpha_ppm__lt=PPM // 2, beta_ppm__gt=0, beta_ppm__lt=PPM // 2
                ),
                name="guesttest_risks_range",
            ),
            models.CheckConstraint(
                condition=Q(tasters__range=(1, MOST_TRAYS), repeats__range=(1, MOST_REPEATS)),
                name="guesttest_sizes_range",
            ),
            models.CheckConstraint(
                condition=Q(stops_early=False) | Q(repeats=1),
                name="guesttest_early_stop_once_each",
                violation_error_message=(
                    "A test that may stop early takes one answer of each taster: set 1 time each."
                ),
            ),
            models.CheckConstraint(
                condition=Q(state="planned", opened_at__isnull=True, closed_at__isnull=True)
                | Q(state="open", opened_at__isnull=False, closed_at__isnull=True)
                | Q(state="closed", opened_at__isnull=False, closed_at__isnull=False),
                name="guesttest_state_has_its_times",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def share(self) -> float:
        return self.share_ppm / PPM

    @property
    def alpha(self) -> float:
        return self.alpha_ppm / PPM

    @property
    def beta(self) -> float:
        return self.beta_ppm / PPM


class Side(models.Model):
    """One of the two coffees: a batch, a recipe, or only a name."""

    test = models.ForeignKey(GuestTest, on_delete=models.CASCADE, related_name="sides")
    letter = models.CharField(max_length=1)
    label = models.CharField(max_length=80)
    batch = models.ForeignKey(
        Batch, null=True, blank=True, on_delete=models.PROTECT, related_name="guest_sides"
    )
    recipe = models.ForeignKey(
        Recipe, null=True, blank=True, on_delete=models.PROTECT, related_name="guest_sides"
    )

    class Meta:
        ordering = ["test", "letter"]
        constraints = [
            models.UniqueConstraint(fields=["test", "letter"], name="side_letter_once"),
            models.CheckConstraint(condition=Q(letter__in=["A", "B"]), name="side_is_a_or_b"),
            models.CheckConstraint(condition=~Q(label=""), name="side_has_label"),
            models.CheckConstraint(
                condition=Q(batch__isnull=True) | Q(recipe__isnull=True), name="side_is_one_thing"
            ),
        ]

    def __str__(self) -> str:
        return self.label


class Tray(models.Model):
    """What one taster gets: a numbered tray with one set of cups, or several."""

    test = models.ForeignKey(GuestTest, on_delete=models.CASCADE, related_name="trays")
    number = models.PositiveSmallIntegerField()
    guest = models.CharField(max_length=60, blank=True)
    taken_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["test", "number"]
        constraints = [
            models.UniqueConstraint(fields=["test", "number"], name="tray_number_once"),
            models.UniqueConstraint(
                "test", Lower("guest"), condition=~Q(guest=""), name="tray_guest_once"
            ),
            models.CheckConstraint(
                condition=Q(number__range=(1, MOST_TRAYS)), name="tray_number_range"
            ),
            models.CheckConstraint(
                condition=Q(guest="") | Q(taken_at__isnull=False), name="tray_taken_has_time"
            ),
        ]

    def __str__(self) -> str:
        return f"tray {self.number}"


class CupSet(models.Model):
    """Cups for one answer: what stands in each place, and under which code.

    ``order`` and ``reference`` are the secret: no page a guest can reach shows them.
    """

    tray = models.ForeignKey(Tray, on_delete=models.CASCADE, related_name="sets")
    turn = models.PositiveSmallIntegerField()
    order = models.CharField(max_length=4)
    reference = models.CharField(max_length=1, blank=True)
    codes = models.CharField(max_length=20)

    class Meta:
        ordering = ["tray", "turn"]
        constraints = [
            models.UniqueConstraint(fields=["tray", "turn"], name="cupset_turn_once"),
            models.CheckConstraint(
                condition=Q(turn__range=(1, MOST_REPEATS)), name="cupset_turn_range"
            ),
            models.CheckConstraint(
                condition=Q(reference__in=["", "A", "B"]) & ~Q(order="") & ~Q(codes=""),
                name="cupset_is_filled",
            ),
        ]

    def __str__(self) -> str:
        return f"set {self.turn} of {self.tray}"

    def places(self) -> list[str]:
        """Return the codes in the order in which the cups are tasted."""
        return self.codes.split()

    def room(self, kind: str) -> RoomSet:
        """Return the set as the computing room knows it."""
        return RoomSet(kind, self.order, self.reference)  # type: ignore[arg-type]


class Answer(models.Model):
    """Which cups a taster pointed at. One that was taken back stays, with the reason."""

    cups = models.ForeignKey(CupSet, on_delete=models.PROTECT, related_name="answers")
    picked = models.CharField(max_length=4)
    remark = models.CharField(max_length=200, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="+",
    )
    # Made by whoever sends the answer, so that one that is sent twice is kept once.
    key = models.CharField(max_length=64, unique=True)
    void = models.BooleanField(default=False)
    void_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["at", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["cups"], condition=Q(void=False), name="answer_once_for_a_set"
            ),
            models.CheckConstraint(
                condition=Q(void=False) | ~Q(void_reason=""), name="answer_void_has_reason"
            ),
            models.CheckConstraint(
                condition=Q(picked__in=["0", "1", "2", "3", "01", "02", "03", "12", "13", "23"]),
                name="answer_points_at_cups",
            ),
            models.CheckConstraint(condition=~Q(key=""), name="answer_has_key"),
        ]

    def __str__(self) -> str:
        return f"answer to {self.cups}"

    def places(self) -> frozenset[int]:
        """Return the places that were pointed at, from 0."""
        return frozenset(map(int, self.picked))
