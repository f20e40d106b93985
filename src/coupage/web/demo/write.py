"""The demo's rows as rows of the database.

Bulk inserts throughout, with the few marks that the database checks (``sealed``) set by an update
afterwards, so that the demo passes the same gates as everybody's data.
"""

from __future__ import annotations

from decimal import Decimal

from coupage.web.blends.models import Blend, Brief, Recipe, RecipeSample, RecipeShare, Want
from coupage.web.cuppings.models import Cupping
from coupage.web.demo.shapes import BriefPlan, RecipePlan
from coupage.web.demo.write_blends import write_bag, write_house_costs
from coupage.web.demo.write_curves import CurveWriter
from coupage.web.demo.write_guests import write_guests
from coupage.web.demo.write_keeping import write_keeping
from coupage.web.demo.write_live import write_clock
from coupage.web.demo.write_orders import use_up, write_orders
from coupage.web.demo.write_production import write_production
from coupage.web.demo.write_roast_day import write_roast_day
from coupage.web.demo.write_tables import PERCENT

__all__ = ["Writer"]


class Writer(CurveWriter):
    """Writes one whole draw of the demo."""

    def write(self) -> None:
        self.write_people()
        self.write_coffees()
        self.write_batches()
        self.write_curves()
        self.write_protocols()
        self.write_samples()
        self.write_cuppings()
        self.write_ratings()
        self.write_briefs()
        self.write_blends()
        write_bag(self.attribute)
        write_house_costs(self)
        write_guests(self)
        write_keeping(self)
        for plan in self.scenario.cuppings:
            if plan.state == Cupping.State.OPEN:
                write_clock(self.cupping[plan.key], at=self.moment(plan.days_ago, plan.minute))
        write_orders(self)
        write_production(self)
        use_up(self)
        write_roast_day(self)

    def write_briefs(self) -> None:
        briefs = Brief.objects.bulk_create(
            Brief(
                name=plan.name,
                service=plan.service,
                cost_cap=Decimal(plan.cost_cap),
                max_components=plan.max_components,
                note=plan.note,
            )
            for plan in self.scenario.briefs
        )
        self.brief = {brief.name: brief for brief in briefs}
        Want.objects.bulk_create(
            want for plan in self.scenario.briefs for want in self._wants(plan)
        )

    def _wants(self, plan: BriefPlan) -> list[Want]:
        return [
            Want(
                brief=self.brief[plan.name],
                attribute=self.attribute[want.attribute],
                kind=want.kind,
                low=Decimal(want.low),
                high=Decimal(want.high),
                importance=Decimal(want.importance),
                must=want.must,
            )
            for want in plan.wants
        ]

    def write_blends(self) -> None:
        blends = Blend.objects.bulk_create(
            Blend(name=plan.name, brief=self.brief[plan.brief], note=plan.note)
            for plan in self.scenario.blends
        )
        plans = [
            (blend.key, row, recipe)
            for blend, row in zip(self.scenario.blends, blends, strict=True)
            for recipe in blend.recipes
        ]
        rows = Recipe.objects.bulk_create(self._recipe(blend, plan) for _, blend, plan in plans)
        RecipeShare.objects.bulk_create(
            RecipeShare(recipe=row, approach=self.approach[approach], share_ppm=percent * PERCENT)
            for row, (_, _, plan) in zip(rows, plans, strict=True)
            for approach, percent in plan.shares.items()
        )
        # Every recipe is born an open trial; the database adds up its shares as it is sealed.
        for row, (_, _, plan) in zip(rows, plans, strict=True):
            Recipe.objects.filter(pk=row.pk).update(sealed=True, state=plan.state)
        by_version = {
            (key, plan.version): row for row, (key, _, plan) in zip(rows, plans, strict=True)
        }
        RecipeSample.objects.bulk_create(
            RecipeSample(recipe=by_version[plan.recipe], sample=self.sample[plan.key])
            for plan in self.scenario.samples
            if plan.recipe
        )

    def _recipe(self, blend: Blend, plan: RecipePlan) -> Recipe:
        approved = plan.served is not None
        return Recipe(
            blend=blend,
            version=plan.version,
            reason=plan.reason,
            made_at=self.moment(plan.made, 17 * 60),
            made_by=self.person["idris"],
            approved_by=self.person["tamsin"] if approved else None,
            approved_at=self.moment(plan.made - 1, 9 * 60) if approved else None,
            in_service_from=None if plan.served is None else self.day(plan.served),
            retired_on=None if plan.retired is None else self.day(plan.retired),
        )
