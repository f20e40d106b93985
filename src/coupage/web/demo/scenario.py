"""The demo roastery: an invented world, written down as plain data.

Every name of a person, place, producer, lot, blend and table is made up. Countries and regions are
real; so are the bag weights in which they ship (trade lists), and nothing else is meant to be.
"""

from __future__ import annotations

from coupage.web.demo.scenario_coffees import (
    APPROACHES,
    ATTRIBUTES,
    BATCHES,
    COLOUR_SCALE,
    LOTS,
    MACHINES,
    PAIRINGS,
)
from coupage.web.demo.scenario_tables import CUPPINGS, PROTOCOLS, SAMPLES
from coupage.web.demo.shapes import (
    BlendPlan,
    BriefPlan,
    PersonPlan,
    RecipePlan,
    Scenario,
    TasterPlan,
    WantPlan,
)

__all__ = ["DEMO_PASSWORD", "SCENARIO"]

DEMO_PASSWORD = "warm-bowl-and-spoon"  # noqa: S105 - printed at the start; the demo holds no secrets

PEOPLE = (
    PersonPlan("tamsin", "Tamsin Verrow", "owner"),
    PersonPlan("idris", "Idris Kellaw", "roaster"),
    PersonPlan("lotte", "Lotte Haskeny", "roaster"),
    PersonPlan("noor", "Noor Abberley", "taster"),
    PersonPlan("bram", "Bram Sallowin", "viewer"),
)

TASTERS = (
    TasterPlan("Tamsin", "tamsin"),
    TasterPlan("Idris", "idris", steadiness=0.8),
    TasterPlan("Lotte", "lotte"),
    TasterPlan("Noor", "noor"),
    TasterPlan("Petra"),
    TasterPlan("Joss", steadiness=1.6),
)

BRIEFS = (
    BriefPlan(
        "Ropewalk carries in milk",
        "milk",
        "7.75",
        4,
        "Flat whites at the Yard and the Ferry Steps kiosk: it must still taste of coffee there.",
        (
            WantPlan("sweetness", "at least", "5.2", "6.4", "3", must=True),
            WantPlan("acidity", "at most", "3.0", "4.6", "1"),
            WantPlan("body", "at least", "5.5", "6.6", "3", must=True),
            WantPlan("bitterness", "at most", "4.2", "5.4", "2", must=True),
            WantPlan("roast", "between", "4.4", "6.0", "2", must=True),
            WantPlan("aftertaste", "at least", "4.6", "6.0", "1"),
        ),
    ),
    BriefPlan(
        "Slack Tide black",
        "espresso",
        "10.60",
        3,
        "A guest espresso for people who want fruit and can do without sugar.",
        (
            WantPlan("fruit", "at least", "5.6", "7.0", "3", must=True),
            WantPlan("acidity", "between", "5.2", "7.4", "2", must=True),
            WantPlan("bitterness", "at most", "2.5", "4.0", "1"),
            WantPlan("cleanness", "at least", "5.5", "7.0", "2"),
        ),
    ),
)

BLENDS = (
    BlendPlan(
        "R",
        "Ropewalk",
        "Ropewalk carries in milk",
        "The house blend of both counters.",
        (
            RecipePlan(
                1,
                {"TM": 45, "UM": 35, "SL": 20},
                "retired",
                "The opening recipe. Silonggah swung too far from delivery to delivery.",
                made=100,
                served=98,
                retired=44,
            ),
            RecipePlan(
                2,
                {"TM": 50, "UM": 35, "OL": 15},
                "in service",
                "Ondakal gives the body that Silonggah gave, steadier and for less.",
                made=47,
                served=44,
            ),
            RecipePlan(
                3,
                {"TL": 45, "AM": 40, "OL": 15},
                "trial",
                "Umbrales runs out: Almirena in its place, Tovaco roasted longer.",
                made=17,
            ),
        ),
    ),
    BlendPlan(
        "S",
        "Slack Tide",
        "Slack Tide black",
        "Guest espresso, changes with the harvest.",
        (
            RecipePlan(
                1,
                {"WL": 40, "ML": 35, "AM": 25},
                "in service",
                "Two washed coffees for fruit, Almirena to round them.",
                made=18,
                served=12,
            ),
        ),
    ),
)

SCENARIO = Scenario(
    roastery="Ottersby Coffee Yard",
    currency="EUR",
    time_zone="Europe/Dublin",
    colour_scale=COLOUR_SCALE,
    people=PEOPLE,
    tasters=TASTERS,
    attributes=ATTRIBUTES,
    lots=LOTS,
    approaches=APPROACHES,
    pairings=PAIRINGS,
    machines=MACHINES,
    batches=BATCHES,
    protocols=PROTOCOLS,
    samples=SAMPLES,
    cuppings=CUPPINGS,
    briefs=BRIEFS,
    blends=BLENDS,
)
