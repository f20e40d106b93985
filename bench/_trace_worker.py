"""Write five years into an empty database and time traces: figures on stdout, one kind a line."""

from __future__ import annotations

import datetime as dt
import random
import time
from typing import Any

import django

django.setup()

from django.apps import apps  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connection, transaction  # noqa: E402
from django.db.models.signals import pre_migrate  # noqa: E402

from coupage.web.batches.models import Batch  # noqa: E402
from coupage.web.blends.models import Blend, Recipe, RecipeShare  # noqa: E402
from coupage.web.coffees.models import Approach, ApproachVersion, Lot  # noqa: E402
from coupage.web.orders.models import Customer  # noqa: E402
from coupage.web.production.models import (  # noqa: E402
    BagEntry,
    BlendedEntry,
    Dispatch,
    DispatchLine,
    Pack,
    Packed,
    Run,
    RunPart,
)
from coupage.web.production.pages.trace import trace_page  # noqa: E402
from coupage.web.production.trace import trace  # noqa: E402

RUNS, LOTS, CUSTOMERS, SIZES = 5_200, 480, 400, 3
BAGS = 1_000_000
SINCE = dt.date(2021, 1, 4)
AT = dt.datetime(2021, 1, 4, tzinfo=dt.UTC)


def write() -> None:
    """Bulk rows without the triggers, which are measured by nobody here and slow to load under."""
    pre_migrate.send(sender=apps.get_app_config("production"), using="default")
    rng = random.Random(1)
    with transaction.atomic():
        lots = Lot.objects.bulk_create(Lot(name=f"Lot {n}", origin="Rwanda") for n in range(LOTS))
        ways = Approach.objects.bulk_create(Approach(lot=lot, name="omni") for lot in lots)
        versions = ApproachVersion.objects.bulk_create(
            ApproachVersion(approach=way, number=1, since=SINCE) for way in ways
        )
        blends = Blend.objects.bulk_create(Blend(name=f"Blend {n}") for n in range(2))
        recipes = Recipe.objects.bulk_create(
            Recipe(blend=blend, version=1, made_at=AT) for blend in blends
        )
        RecipeShare.objects.bulk_create(
            RecipeShare(recipe=recipe, approach=ways[0], share_ppm=1_000_000) for recipe in recipes
        )
        packs = Pack.objects.bulk_create(
            Pack(blend=blend, bag_g=size) for blend in blends for size in (250, 500, 1_000)
        )
        customers = Customer.objects.bulk_create(
            Customer(name=f"Customer {n}") for n in range(CUSTOMERS)
        )
        write_runs(rng, versions, recipes, packs, customers)
    with connection.cursor() as cursor:
        cursor.execute("ANALYZE")


def write_runs(rng: random.Random, versions: Any, recipes: Any, packs: Any, customers: Any) -> None:
    days = [SINCE + dt.timedelta(days=n * 1826 // RUNS) for n in range(RUNS)]
    batches = Batch.objects.bulk_create(
        (
            Batch(
                number=f"B{n}-{part}",
                # Three lots at a time, each for its eleven days or so.
                approach_version=versions[min(LOTS - 1, n * LOTS // RUNS + part)],
                roasted_at=dt.datetime.combine(days[n], dt.time(8), dt.UTC),
                green_g=60_000,
                roasted_g=51_000,
            )
            for n in range(RUNS)
            for part in range(3)
        ),
        batch_size=5_000,
    )
    runs = Run.objects.bulk_create(
        (
            Run(
                recipe=recipes[n % 2],
                lot_code=f"{n}",
                on=days[n],
                best_before=days[n] + dt.timedelta(days=365),
                lifts=2,
                step_g=10,
                state="closed",
                made_at=AT,
            )
            for n in range(RUNS)
        ),
        batch_size=5_000,
    )
    parts = []
    for n, run in enumerate(runs):
        parts += [
            RunPart(run=run, place=place, batch=batches[3 * n + place], planned_g=20_000)
            for place in range(3)
        ]
        # In the first blend of the last two years each rest goes on: the longest chain there is.
        if n >= 2 and (rng.random() < 0.1 or (n % 2 == 0 and n > RUNS * 3 // 5)):
            parts.append(RunPart(run=run, place=3, source=runs[n - 2], planned_g=500))
    parts = RunPart.objects.bulk_create(parts, batch_size=5_000)
    BlendedEntry.objects.bulk_create(
        (
            BlendedEntry(
                run_id=part.run_id, kind="weighed", mass_g=part.planned_g // 2, on=SINCE, at=AT,
                part=part, lift=lift,
            )
            for part in parts
            for lift in (1, 2)
        ),
        batch_size=5_000,
    )  # fmt: skip
    packed = Packed.objects.bulk_create(
        (
            Packed(run=run, pack=packs[3 * (n % 2) + s])
            for n, run in enumerate(runs)
            for s in range(3)
        ),
        batch_size=5_000,
    )
    write_bags(rng, packed, customers, days)


def write_bags(rng: random.Random, packed: Any, customers: Any, days: list[dt.date]) -> None:
    each = [BAGS // len(packed) + (n < BAGS % len(packed)) for n in range(len(packed))]
    BagEntry.objects.bulk_create(
        (
            BagEntry(packed=row, kind="packed", bags=each[n], on=days[n // 3], at=AT)
            for n, row in enumerate(packed)
        ),
        batch_size=5_000,
    )
    # Twelve dispatches of each run, each with all three sizes.
    dispatches = Dispatch.objects.bulk_create(
        (
            Dispatch(customer=rng.choice(customers), on=days[run], made_at=AT)
            for run in range(RUNS)
            for _ in range(12)
        ),
        batch_size=5_000,
    )
    lines = DispatchLine.objects.bulk_create(
        (
            DispatchLine(dispatch=dispatch, packed=packed[3 * (n // 12) + size])
            for n, dispatch in enumerate(dispatches)
            for size in range(3)
        ),
        batch_size=5_000,
    )
    BagEntry.objects.bulk_create(
        (
            BagEntry(
                packed_id=line.packed_id, kind="sent", bags=-5, on=days[n // 36], at=AT, line=line
            )
            for n, line in enumerate(lines)
        ),
        batch_size=5_000,
    )


def seconds(what: Any) -> float:
    """Best of three, so that a busy machine does not speak for the database."""
    seen = []
    for _ in range(3):
        begin = time.perf_counter()
        what()
        seen.append(time.perf_counter() - begin)
    return min(seen)


def main() -> None:
    call_command("migrate", verbosity=0)
    write()
    rng = random.Random(2)
    lots = list(Lot.objects.values_list("pk", flat=True))
    runs = list(Run.objects.order_by("pk").values_list("pk", flat=True))
    some_lots, some_runs = rng.sample(lots, 20), rng.sample(runs, 20)
    trace("lot", lots[0])
    print("lot", *(seconds(lambda key=key: trace("lot", key)) for key in some_lots))
    print("run", *(seconds(lambda key=key: trace("run", key)) for key in some_runs))
    first = runs[RUNS * 3 // 5]
    print("chain", *(seconds(lambda: trace("run", first)) for _ in range(3)))
    print("edges", len(trace("run", first)))
    print("page", *(seconds(lambda key=key: trace_page("lot", key, "kg")) for key in some_lots[:5]))


main()
