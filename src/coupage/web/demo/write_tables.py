"""Samples, tables and ratings of the demo as rows of the database."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from coupage.units import PPM
from coupage.web.cuppings.models import (
    Attribute,
    Cup,
    Cupping,
    CuppingAttribute,
    CuppingPass,
    Part,
    Protocol,
    ProtocolStep,
    Rating,
    Sample,
    Seat,
    Serving,
    Word,
)
from coupage.web.demo.generate import RatingRow
from coupage.web.demo.shapes import AttributePlan, CuppingPlan, ProtocolPlan, SamplePlan
from coupage.web.demo.write_coffees import CoffeeWriter

__all__ = ["PERCENT", "TableWriter"]

PERCENT = PPM // 100
_AT_ONCE = 2000
_MINUTES_A_PASS = 18


class TableWriter(CoffeeWriter):
    """Writes one draw of the demo up to its ratings and words."""

    def write_protocols(self) -> None:
        attributes = Attribute.objects.bulk_create(
            self._attribute(plan, order)
            for order, plan in enumerate(self.scenario.attributes, start=1)
        )
        self.attribute = {attribute.name: attribute for attribute in attributes}
        protocols = Protocol.objects.bulk_create(
            self._protocol(plan) for plan in self.scenario.protocols
        )
        self.protocol = {protocol.name: protocol for protocol in protocols}
        ProtocolStep.objects.bulk_create(
            ProtocolStep(
                protocol=self.protocol[plan.name],
                order=order,
                name=step.name,
                at_s=step.at_s,
                caution=step.caution,
            )
            for plan in self.scenario.protocols
            for order, step in enumerate(plan.steps, start=1)
        )

    def _attribute(self, plan: AttributePlan, order: int) -> Attribute:
        return Attribute(
            name=plan.name,
            kind=Attribute.Kind.LIKING if plan.liking else Attribute.Kind.INTENSITY,
            low_word=plan.low_word,
            high_word=plan.high_word,
            tolerance=Decimal(plan.tolerance),
            order=order,
        )

    def _protocol(self, plan: ProtocolPlan) -> Protocol:
        return Protocol(
            name=plan.name,
            dose_mg=plan.dose_mg,
            water_g=plan.water_g,
            water_c=Decimal(plan.water_c),
            passes=", ".join(plan.passes),
            source=plan.source,
        )

    def write_samples(self) -> None:
        plans = self.scenario.samples
        rows = Sample.objects.bulk_create(
            Sample(
                label=self._label(plan),
                kind=Sample.Kind.BATCH if len(plan.parts) == 1 else Sample.Kind.TRIAL,
                made_on=self.day(plan.days_ago),
            )
            for plan in plans
        )
        self.sample = dict(zip((plan.key for plan in plans), rows, strict=True))
        Part.objects.bulk_create(
            Part(sample=self.sample[plan.key], batch=self.batch[batch], share_ppm=percent * PERCENT)
            for plan in plans
            for batch, percent in plan.parts.items()
        )
        # By update, so that the database adds up the shares of each.
        Sample.objects.update(sealed=True)

    def _label(self, plan: SamplePlan) -> str:
        if plan.name:
            return plan.name
        (key,) = plan.parts
        batch = self.scenario.batch[key]
        label = f"{self.scenario.components[batch.approach]}, {self.batch_number(key)}"
        pulled_anew = plan.key != key
        return f"{label}, at {batch.days_ago - plan.days_ago} days" if pulled_anew else label

    def write_cuppings(self) -> None:
        plans = self.scenario.cuppings
        rows = Cupping.objects.bulk_create(self._cupping(plan) for plan in plans)
        self.cupping = dict(zip((plan.key for plan in plans), rows, strict=True))
        CuppingAttribute.objects.bulk_create(
            CuppingAttribute(cupping=cupping, attribute=attribute, order=attribute.order)
            for cupping in rows
            for attribute in self.attribute.values()
        )
        rounds = CuppingPass.objects.bulk_create(
            CuppingPass(cupping=self.cupping[plan.key], order=order, name=name)
            for plan in plans
            for order, name in enumerate(self.scenario.protocol[plan.protocol].passes, start=1)
        )
        self.round = {(round_.cupping_id, round_.name): round_ for round_ in rounds}
        self._write_seats_and_cups()

    def _write_seats_and_cups(self) -> None:
        seats = Seat.objects.bulk_create(
            Seat(
                cupping=self.cupping[plan.key],
                taster=self.taster[name],
                order=order,
                finished_at=self._end(plan) if plan.filled[order - 1] == 1 else None,
            )
            for plan in self.scenario.cuppings
            for order, name in enumerate(plan.tasters, start=1)
        )
        self.seat = {(seat.cupping_id, seat.taster.name): seat for seat in seats}
        cups = Cup.objects.bulk_create(
            Cup(
                cupping=self.cupping[row.cupping],
                sample=self.sample[row.sample],
                number=row.number,
                code=row.code,
            )
            for row in self.drawn.cups
        )
        self.cup = {(cup.cupping_id, cup.code): cup for cup in cups}
        Serving.objects.bulk_create(
            Serving(
                seat=self.seat[self.cupping[row.cupping].pk, row.taster],
                cup=self.cup[self.cupping[row.cupping].pk, row.code],
                position=row.position,
            )
            for row in self.drawn.servings
        )

    def _cupping(self, plan: CuppingPlan) -> Cupping:
        revealed = plan.state == Cupping.State.REVEALED
        return Cupping(
            name=plan.name,
            held_at=self.moment(plan.days_ago, plan.minute),
            protocol=self.protocol[plan.protocol],
            host=self.person[plan.host],
            note=self.told(plan.note),
            state=plan.state,
            revealed_at=self._end(plan) + dt.timedelta(minutes=5) if revealed else None,
        )

    def _end(self, plan: CuppingPlan) -> dt.datetime:
        passes = len(self.scenario.protocol[plan.protocol].passes)
        held = self.moment(plan.days_ago, plan.minute)
        return held + dt.timedelta(minutes=_MINUTES_A_PASS * passes)

    def write_ratings(self) -> None:
        place = {(s.cupping, s.taster, s.code): s.position for s in self.drawn.servings}
        Rating.objects.bulk_create(
            (
                self._rating(row, place[row.cupping, row.taster, row.code])
                for row in self.drawn.ratings
            ),
            batch_size=_AT_ONCE,
        )
        Word.objects.bulk_create(
            Word(
                cup=self.cup[self.cupping[row.cupping].pk, row.code],
                seat=self.seat[self.cupping[row.cupping].pk, row.taster],
                text=row.text,
            )
            for row in self.drawn.words
        )

    def _rating(self, row: RatingRow, position: int) -> Rating:
        table = self.cupping[row.cupping]
        round_ = self.round[table.pk, row.pass_name]
        minutes = (round_.order - 1) * _MINUTES_A_PASS + 1.5 * position
        return Rating(
            cup=self.cup[table.pk, row.code],
            seat=self.seat[table.pk, row.taster],
            round=round_,
            attribute=self.attribute[row.attribute],
            value=Decimal(str(row.value)),
            at=table.held_at + dt.timedelta(minutes=minutes),
            # A guest has no account: whoever hosts the table writes for them.
            by=self.taster[row.taster].person or table.host,
        )
