"""The roastery, its people and their roles, and the history of what they changed."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import models
from django.db.models import Q
from django.utils import timezone

__all__ = ["Change", "Person", "Roastery", "Role"]


class Role(models.TextChoices):
    """What a person may do. Rights are spelled out in ``access.py``."""

    OWNER = "owner", "Owner"
    ROASTER = "roaster", "Roaster"
    TASTER = "taster", "Taster"
    VIEWER = "viewer", "Viewer"


class MassUnit(models.TextChoices):
    KILOGRAM = "kg", "kilograms and grams"
    POUND = "lb", "pounds and ounces"


class PersonManager(BaseUserManager["Person"]):
    def create_user(
        self, sign_in: str, *, name: str, role: str, password: str | None = None, **more: Any
    ) -> Person:
        person = self.model(sign_in=sign_in.strip().lower(), name=name, role=role, **more)
        person.set_password(password)
        person.full_clean()
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser):
    """Somebody who signs in. Tasters who only join a table need no account."""

    sign_in = models.CharField(
        "sign-in name",
        max_length=80,
        unique=True,
        validators=[
            RegexValidator(
                r"^[a-z0-9][a-z0-9._@+-]*$",
                "Use small letters, digits and . _ @ + - only, beginning with a letter or digit.",
            )
        ],
    )
    name = models.CharField(max_length=80)
    role = models.CharField(max_length=8, choices=Role.choices)
    is_active = models.BooleanField("may sign in", default=True)
    mass_unit = models.CharField(
        "show masses in", max_length=2, choices=MassUnit.choices, default=MassUnit.KILOGRAM
    )
    time_zone = models.CharField(max_length=40, blank=True)
    joined_at = models.DateTimeField(default=timezone.now, editable=False)

    objects: ClassVar[PersonManager] = PersonManager()

    USERNAME_FIELD = "sign_in"
    REQUIRED_FIELDS = ["name", "role"]

    class Meta:
        ordering = ["name"]
        verbose_name_plural = "people"
        constraints = [
            models.CheckConstraint(condition=Q(role__in=Role.values), name="person_role_known"),
            models.CheckConstraint(
                condition=Q(mass_unit__in=MassUnit.values), name="person_mass_unit_known"
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Roastery(models.Model):
    """The one roastery of this installation and the settings that all its people share."""

    name = models.CharField(max_length=80)
    currency = models.CharField(
        max_length=3,
        default="EUR",
        validators=[RegexValidator(r"^[A-Z]{3}$", "Use the three letters of ISO 4217, like EUR.")],
    )
    time_zone = models.CharField(max_length=40, default="UTC")
    verdict_chance = models.DecimalField(
        "chance that settles a verdict",
        max_digits=4,
        decimal_places=3,
        default=Decimal("0.9"),
        validators=[MinValueValidator(Decimal("0.5")), MaxValueValidator(Decimal("0.999"))],
    )
    low_stock_g = models.PositiveBigIntegerField("a lot runs low below", default=60_000)
    is_demo = models.BooleanField(default=False, editable=False)
    only = models.BooleanField(default=True, editable=False, unique=True)

    class Meta:
        verbose_name_plural = "roasteries"
        constraints = [
            models.CheckConstraint(condition=Q(only=True), name="roastery_only_one"),
            models.CheckConstraint(
                condition=Q(verdict_chance__gte=Decimal("0.5"), verdict_chance__lt=1),
                name="roastery_verdict_chance_range",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Change(models.Model):
    """One line of history: who did what to what, when, and how it stood before.

    Written by actions in the same transaction as the change itself; never edited.
    """

    at = models.DateTimeField()
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="changes")
    verb = models.CharField(max_length=200)
    kind = models.CharField(max_length=40)
    key = models.PositiveBigIntegerField()
    label = models.CharField(max_length=200)
    note = models.TextField(blank=True)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)

    class Meta:
        ordering = ["-at", "-id"]
        indexes = [models.Index(fields=["kind", "key", "-at"])]

    def __str__(self) -> str:
        return f"{self.by or 'Coupage'} {self.verb} {self.label}"
