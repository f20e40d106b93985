"""People, coffees and batches of the demo as rows of the database."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from zoneinfo import ZoneInfo

from django.contrib.auth.hashers import make_password

from coupage.web.batches.models import Batch, BatchVerdict, Machine, Verdict
from coupage.web.coffees.models import Approach, ApproachVersion, Lot, StockEntry
from coupage.web.cuppings.models import Taster
from coupage.web.demo.generate import BatchRow, Generated
from coupage.web.demo.scenario import DEMO_PASSWORD
from coupage.web.demo.shapes import ApproachPlan, BatchPlan, LotPlan
from coupage.web.people.models import Person, Roastery

__all__ = ["CoffeeWriter"]

_WHEN_SET_UP = 120


class CoffeeWriter:
    """Writes one draw of the demo up to its batches, counting days back from ``today``."""

    def __init__(self, drawn: Generated, today: dt.date) -> None:
        self.drawn = drawn
        self.scenario = drawn.scenario
        self.today = today
        self.zone = ZoneInfo(self.scenario.time_zone)

    def day(self, days_ago: int) -> dt.date:
        return self.today - dt.timedelta(days=days_ago)

    def moment(self, days_ago: int, minute: int) -> dt.datetime:
        """Return a minute of a day as a clock on the wall of the roastery shows it."""
        clock = dt.time(minute // 60, minute % 60)
        return dt.datetime.combine(self.day(days_ago), clock, tzinfo=self.zone)

    def batch_number(self, key: str) -> str:
        """Return the number of a batch: its day and its letter, such as 261012b."""
        return f"{self.day(self.scenario.batch[key].days_ago):%y%m%d}{key[-1]}"

    def told(self, text: str) -> str:
        """Write batch numbers for the scenario's ``{42a}``."""
        return text.format_map({key: self.batch_number(key) for key in self.scenario.batch})

    def write_people(self) -> None:
        scenario = self.scenario
        self.roastery = Roastery.objects.create(
            name=scenario.roastery,
            currency=scenario.currency,
            time_zone=scenario.time_zone,
            is_demo=True,
        )
        # Hashing is slow on purpose; the password is no secret, so one hash does for all.
        password = make_password(DEMO_PASSWORD)
        people = Person.objects.bulk_create(
            Person(
                sign_in=plan.sign_in,
                name=plan.name,
                role=plan.role,
                password=password,
                joined_at=self.moment(_WHEN_SET_UP, 9 * 60),
            )
            for plan in scenario.people
        )
        self.person = {person.sign_in: person for person in people}
        tasters = Taster.objects.bulk_create(
            Taster(name=plan.name, person=self.person.get(plan.sign_in))
            for plan in scenario.tasters
        )
        self.taster = {taster.name: taster for taster in tasters}

    def write_coffees(self) -> None:
        plans = self.scenario.lots
        lots = Lot.objects.bulk_create(self._lot(plan) for plan in plans)
        self.lot = dict(zip((plan.key for plan in plans), lots, strict=True))
        StockEntry.objects.bulk_create(entry for plan in plans for entry in self._ledger(plan))
        approaches = Approach.objects.bulk_create(
            Approach(lot=self.lot[plan.lot], name=plan.name) for plan in self.scenario.approaches
        )
        keys = (plan.key for plan in self.scenario.approaches)
        self.approach = dict(zip(keys, approaches, strict=True))
        versions = ApproachVersion.objects.bulk_create(
            version for plan in self.scenario.approaches for version in self._versions(plan)
        )
        self.version = {(version.approach_id, version.number): version for version in versions}

    def _lot(self, plan: LotPlan) -> Lot:
        return Lot(
            name=plan.name,
            origin=plan.origin,
            region=plan.region,
            producer=plan.producer,
            process=plan.process,
            species=plan.species,
            decaffeinated=plan.decaffeinated,
            crop_year=self._crop_year(plan),
            moisture_pct=Decimal(plan.moisture_pct),
            price_per_kg=Decimal(plan.price_per_kg),
            bag_g=plan.bag_g,
            note=plan.note,
        )

    def _crop_year(self, plan: LotPlan) -> str:
        """Coffee year (1 October to 30 September) half a year before the lot came."""
        picked = self.day(plan.stock[0].days_ago + 180)
        first = picked.year if picked.month >= 10 else picked.year - 1
        return f"{first}/{(first + 1) % 100:02d}"

    def _ledger(self, plan: LotPlan) -> list[StockEntry]:
        return [
            StockEntry(
                lot=self.lot[plan.key],
                kind=line.kind,
                mass_g=line.mass_g or line.bags * plan.bag_g,
                on=self.day(line.days_ago),
                bags=line.bags or None,
                bag_g=plan.bag_g if line.bags else None,
                reason=line.reason,
                by=self.person["tamsin"],
            )
            for line in plan.stock
        ]

    def _versions(self, plan: ApproachPlan) -> list[ApproachVersion]:
        return [
            ApproachVersion(
                approach=self.approach[plan.key],
                number=number,
                since=self.day(version.days_ago),
                charge_g=version.charge_g,
                loss_pct=Decimal(str(version.loss_pct)),
                colour=Decimal(str(version.colour)),
                colour_scale=self.scenario.colour_scale,
                seconds=version.seconds,
                end_temperature_c=Decimal(str(version.end_temperature_c)),
                note=version.note,
            )
            for number, version in enumerate(plan.versions, start=1)
        ]

    def write_batches(self) -> None:
        machines = Machine.objects.bulk_create(
            Machine(
                name=plan.name,
                site=plan.site,
                least_charge_g=plan.least_charge_g,
                largest_charge_g=plan.largest_charge_g,
            )
            for plan in self.scenario.machines
        )
        self.machine = {machine.name: machine for machine in machines}
        plans = self.scenario.batches
        rows = Batch.objects.bulk_create(
            self._batch(plan, seen) for plan, seen in zip(plans, self.drawn.batches, strict=True)
        )
        self.batch = dict(zip((plan.key for plan in plans), rows, strict=True))
        BatchVerdict.objects.bulk_create(
            BatchVerdict(
                batch=self.batch[plan.key],
                verdict=verdict,
                reason=self.told(reason),
                by=self.person["idris"],
                at=self.moment(days_ago, 16 * 60),
            )
            for plan in plans
            for verdict, reason, days_ago in plan.verdicts
        )

    def _batch(self, plan: BatchPlan, seen: BatchRow) -> Batch:
        return Batch(
            number=self.batch_number(plan.key),
            approach_version=self.version[self.approach[plan.approach].pk, seen.version],
            machine=self.machine[self.scenario.approach[plan.approach].machine],
            roasted_at=self.moment(plan.days_ago, plan.minute),
            green_g=seen.green_g,
            roasted_g=seen.roasted_g,
            seconds=seen.seconds,
            first_crack_s=seen.first_crack_s,
            end_temperature_c=Decimal(str(seen.end_temperature_c)),
            colour=Decimal(str(seen.colour)),
            colour_scale=self.scenario.colour_scale,
            operator=self.person[plan.operator],
            note=plan.fault.note,
            verdict=plan.verdicts[-1][0] if plan.verdicts else Verdict.WAITING,
        )
