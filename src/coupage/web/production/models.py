"""Blending runs, the bags packed from them, and where the bags went.

Three ledgers stand in a row, each only ever added to: roasted coffee of a batch
(:class:`coupage.web.batches.models.RoastedEntry`), loose blend of a run, bags of a run. What is on
hand anywhere at any date is a sum; the database keeps every sum at or above nothing (``apps.py``).
"""

from __future__ import annotations

from django.conf import settings
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q

from coupage.web.batches.models import Batch, RoastedEntry
from coupage.web.blends.models import Blend, Recipe
from coupage.web.coffees.models import Approach
from coupage.web.orders.models import Customer, Order
from coupage.web.production.lot_code import DEFAULT_PATTERN

__all__ = [
    "BagEntry",
    "BlendedEntry",
    "Dispatch",
    "DispatchLine",
    "MixingCheck",
    "Pack",
    "Packed",
    "PackingRules",
    "Run",
    "RunPart",
]


class PackingRules(models.Model):
    """How this roastery blends and labels; one row. Defaults are common practice, all editable."""

    lot_pattern = models.CharField(
        "pattern of the lot code", max_length=40, default=DEFAULT_PATTERN
    )
    letter_l = models.BooleanField("letter L before the lot code", default=True)
    best_before_days = models.PositiveIntegerField("best before, days after roasting", default=365)
    rest_days = models.PositiveSmallIntegerField("blend not before, days after roasting", default=1)
    use_within_days = models.PositiveSmallIntegerField(
        "blend not later than, days after roasting", default=21
    )
    tolerance_ppm = models.PositiveIntegerField("a share may be off by", default=5_000)
    missing_ppm = models.PositiveIntegerField("kilograms may be missing", default=5_000)
    blender_g = models.PositiveBigIntegerField("the blender holds", default=20_000)
    step_g = models.PositiveIntegerField("step of the scale", default=10)
    link_base = models.URLField("own web address for QR codes", blank=True)
    only = models.BooleanField(default=True, editable=False, unique=True)

    class Meta:
        verbose_name_plural = "packing rules"
        constraints = [
            models.CheckConstraint(condition=Q(only=True), name="packing_rules_only_one"),
            models.CheckConstraint(
                condition=Q(use_within_days__gte=F("rest_days"), best_before_days__gte=1),
                name="packing_rules_days_in_order",
            ),
            models.CheckConstraint(
                condition=Q(blender_g__gt=0, step_g__gt=0), name="packing_rules_positive"
            ),
        ]

    def __str__(self) -> str:
        return "How we blend and label"


class Pack(models.Model):
    """A size in which a blend is sold, with the roastery's own item number where it has one."""

    blend = models.ForeignKey(Blend, on_delete=models.PROTECT, related_name="packs")
    bag_g = models.PositiveBigIntegerField(
        "one bag", validators=[MinValueValidator(10), MaxValueValidator(1_000_000)]
    )
    gtin = models.CharField("item number (GTIN)", max_length=14, blank=True)
    per_box = models.PositiveSmallIntegerField("bags in a box", null=True, blank=True)
    box_gtin = models.CharField("item number of the box", max_length=14, blank=True)
    archived = models.BooleanField(default=False)

    class Meta:
        ordering = ["blend__name", "bag_g"]
        constraints = [
            models.UniqueConstraint(fields=["blend", "bag_g"], name="pack_once"),
            models.CheckConstraint(condition=Q(bag_g__range=(10, 1_000_000)), name="pack_range"),
            models.CheckConstraint(
                condition=Q(per_box__isnull=True) | Q(per_box__gt=0), name="pack_box_positive"
            ),
            models.UniqueConstraint(fields=["gtin"], condition=~Q(gtin=""), name="pack_gtin_once"),
        ]

    def __str__(self) -> str:
        return f"{self.blend} {self.size}"

    @property
    def size(self) -> str:
        return f"{self.bag_g / 1000:g} kg" if self.bag_g >= 1000 else f"{self.bag_g} g"


class Run(models.Model):
    """Components weighed together into one packed lot; ``step_g`` is the step of the scale."""

    class State(models.TextChoices):
        OPEN = "open", "under way"
        CLOSED = "closed", "closed"
        VOID = "void", "void"

    recipe = models.ForeignKey(Recipe, on_delete=models.PROTECT, related_name="runs")
    lot_code = models.CharField(max_length=20, unique=True)
    on = models.DateField("day")
    best_before = models.DateField()
    lifts = models.PositiveSmallIntegerField()
    step_g = models.PositiveIntegerField()
    state = models.CharField(
        max_length=6, choices=State.choices, default=State.OPEN, editable=False
    )
    held = models.BooleanField(default=False, editable=False)
    note = models.TextField(blank=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-on", "-id"]
        indexes = [models.Index(fields=["-on", "-id"])]
        constraints = [
            models.CheckConstraint(condition=~Q(lot_code=""), name="run_has_code"),
            models.CheckConstraint(condition=Q(best_before__gt=F("on")), name="run_keeps"),
            models.CheckConstraint(condition=Q(lifts__gt=0, step_g__gt=0), name="run_positive"),
            models.CheckConstraint(
                condition=Q(state__in=["open", "closed", "void"]), name="run_state_known"
            ),
        ]

    def __str__(self) -> str:
        return f"Lot {self.lot_code}"


class RunPart(models.Model):
    """What goes into a run: coffee of one batch, or what was left of an earlier run."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="parts")
    place = models.PositiveSmallIntegerField()
    batch = models.ForeignKey(
        Batch, null=True, on_delete=models.PROTECT, related_name="blended_into"
    )
    source = models.ForeignKey(
        Run, null=True, on_delete=models.PROTECT, related_name="continued_in"
    )
    per_lift_g = models.JSONField("planned for each lift", default=list)
    planned_g = models.PositiveBigIntegerField()

    class Meta:
        ordering = ["run", "place", "id"]
        constraints = [
            models.UniqueConstraint(fields=["run", "batch"], name="run_batch_once"),
            models.UniqueConstraint(fields=["run", "source"], name="run_source_once"),
            models.CheckConstraint(
                condition=Q(batch__isnull=False, source__isnull=True)
                | Q(batch__isnull=True, source__isnull=False),
                name="run_part_of_one",
            ),
            # Runs take from runs before them only: the way back always ends.
            models.CheckConstraint(
                condition=Q(source__isnull=True) | Q(source__lt=F("run")), name="run_source_before"
            ),
            models.CheckConstraint(condition=Q(planned_g__gt=0), name="run_part_positive"),
        ]

    def __str__(self) -> str:
        return str(self.batch or self.source)

    @property
    def approach(self) -> Approach | None:
        return self.batch.approach_version.approach if self.batch else None


class BlendedEntry(models.Model):
    """One line of the ledger of a run's loose blend, only ever added to."""

    class Kind(models.TextChoices):
        WEIGHED = "weighed", "Weighed in"
        TAKEN_OUT = "taken out", "Weighing taken back"
        PACKED = "packed", "Packed"
        UNPACKED = "unpacked", "Packing taken back"
        OPENED = "opened", "Bags opened"
        REUSED = "reused", "Used in a later run"
        PUT_BACK = "put back", "Put back from a later run"
        WASTED = "wasted", "Lost or thrown away"
        COUNT = "count", "Corrected after a count"

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="entries")
    kind = models.CharField(max_length=9, choices=Kind.choices)
    mass_g = models.BigIntegerField()
    on = models.DateField()
    at = models.DateTimeField()
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    part = models.ForeignKey(
        RunPart, null=True, blank=True, on_delete=models.PROTECT, related_name="weighed"
    )
    lift = models.PositiveSmallIntegerField(null=True, blank=True)
    roasted_entry = models.OneToOneField(
        RoastedEntry, null=True, blank=True, on_delete=models.PROTECT, related_name="blended_entry"
    )

    class Meta:
        ordering = ["on", "id"]
        verbose_name_plural = "blended entries"
        indexes = [models.Index(fields=["run", "on"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["weighed", "unpacked", "opened", "put back"], mass_g__gt=0)
                | Q(kind__in=["taken out", "packed", "reused", "wasted"], mass_g__lt=0)
                | (Q(kind="count") & ~Q(mass_g=0)),
                name="blended_entry_sign",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["weighed", "taken out"], part__isnull=False)
                | (~Q(kind__in=["weighed", "taken out"]) & Q(part__isnull=True)),
                name="blended_entry_weighed_of_part",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["wasted", "count"]) | ~Q(reason=""),
                name="blended_entry_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.mass_g / 1000:+.3f} kg, {self.run}"


class MixingCheck(models.Model):
    """Samples from a run, one component sorted out of each and weighed."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="mixing_checks")
    approach = models.ForeignKey(Approach, on_delete=models.PROTECT, related_name="+")
    sample_g = models.PositiveIntegerField()
    bean_mg = models.PositiveIntegerField()
    shares_ppm = models.JSONField()
    at = models.DateTimeField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-at", "-id"]

    def __str__(self) -> str:
        return f"Mixing check of {self.run}"


class Packed(models.Model):
    """All bags of one size from one run. How many is said by their ledger."""

    run = models.ForeignKey(Run, on_delete=models.PROTECT, related_name="packed")
    pack = models.ForeignKey(Pack, on_delete=models.PROTECT, related_name="packed")

    class Meta:
        ordering = ["run", "pack__bag_g"]
        verbose_name_plural = "packed"
        constraints = [models.UniqueConstraint(fields=["run", "pack"], name="packed_once")]

    def __str__(self) -> str:
        return f"{self.pack}, {self.run.lot_code}"


class Dispatch(models.Model):
    """Bags that left for one customer on one day."""

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="dispatches")
    order = models.ForeignKey(
        Order, null=True, blank=True, on_delete=models.PROTECT, related_name="dispatches"
    )
    on = models.DateField("day")
    note = models.CharField(max_length=200, blank=True)
    void = models.BooleanField(default=False, editable=False)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        ordering = ["-on", "-id"]
        verbose_name_plural = "dispatches"
        indexes = [models.Index(fields=["-on", "-id"])]

    def __str__(self) -> str:
        return f"Dispatch {self.pk} to {self.customer}"


class DispatchLine(models.Model):
    """Bags of one size of one lot in a dispatch. How many is said by the ledger."""

    dispatch = models.ForeignKey(Dispatch, on_delete=models.PROTECT, related_name="lines")
    packed = models.ForeignKey(Packed, on_delete=models.PROTECT, related_name="lines")

    class Meta:
        ordering = ["dispatch", "id"]
        constraints = [
            models.UniqueConstraint(fields=["dispatch", "packed"], name="dispatch_line_once")
        ]

    def __str__(self) -> str:
        return f"{self.packed} in dispatch {self.dispatch_id}"


class BagEntry(models.Model):
    """One line of the ledger of packed bags, only ever added to."""

    class Kind(models.TextChoices):
        PACKED = "packed", "Packed"
        UNPACKED = "unpacked", "Packing taken back"
        SENT = "sent", "Sent"
        RETURNED = "returned", "Came back"
        OPENED = "opened", "Opened"
        WASTED = "wasted", "Thrown away"
        COUNT = "count", "Corrected after a count"

    packed = models.ForeignKey(Packed, on_delete=models.PROTECT, related_name="entries")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    bags = models.IntegerField()
    on = models.DateField()
    at = models.DateTimeField()
    reason = models.CharField(max_length=200, blank=True)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    line = models.ForeignKey(
        DispatchLine, null=True, blank=True, on_delete=models.PROTECT, related_name="entries"
    )

    class Meta:
        ordering = ["on", "id"]
        verbose_name_plural = "bag entries"
        indexes = [models.Index(fields=["packed", "on"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=["packed", "returned"], bags__gt=0)
                | Q(kind__in=["unpacked", "sent", "opened", "wasted"], bags__lt=0)
                | (Q(kind="count") & ~Q(bags=0)),
                name="bag_entry_sign",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=["sent", "returned"], line__isnull=False)
                | (~Q(kind__in=["sent", "returned"]) & Q(line__isnull=True)),
                name="bag_entry_line_when_sent",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["wasted", "count", "opened", "returned"]) | ~Q(reason=""),
                name="bag_entry_has_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} {self.bags:+d} × {self.packed}"
