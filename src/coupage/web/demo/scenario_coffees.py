"""The demo's green coffee, how it is roasted, and ten weeks of batches. All names are invented."""

from __future__ import annotations

from coupage.web.demo.shapes import (
    ApproachPlan,
    AttributePlan,
    BatchPlan,
    Fault,
    LotPlan,
    MachinePlan,
    ReceiptPlan,
    VersionPlan,
)

__all__ = ["APPROACHES", "ATTRIBUTES", "BATCHES", "COLOUR_SCALE", "LOTS", "MACHINES", "PAIRINGS"]

COLOUR_SCALE = "Yard scale"

ATTRIBUTES = (
    AttributePlan("sweetness", "none", "very sweet", "1.0", -0.1, -0.012),
    AttributePlan("acidity", "flat", "very bright", "1.0", -0.8, -0.018),
    AttributePlan("body", "watery", "very heavy", "1.0", 0.6, 0.0),
    AttributePlan("bitterness", "none", "very bitter", "1.0", 0.9, 0.004),
    AttributePlan("fruit", "none", "very fruity", "1.2", -0.7, -0.024),
    AttributePlan("roast", "none", "very roasty", "1.0", 1.2, 0.0),
    AttributePlan("cleanness", "muddled", "very clear", "1.2", -0.3, -0.01),
    AttributePlan("aftertaste", "gone at once", "very long", "1.2", 0.3, -0.006),
    AttributePlan("liking", "dislike", "like very much", "1.2", -0.1, -0.02, liking=True),
)

# One value per attribute, in the order above.
LOTS = (
    LotPlan(
        "T", "Tovaco", "Brazil", "Sul de Minas", "Sítio Tovaco", "natural",
        (5.8, 3.8, 5.6, 4.4, 3.6, 4.6, 5.0, 4.8, 5.6),
        ("hazelnut", "cocoa", "caramel", "toast", "malt"),
        (ReceiptPlan(95, bags=4), ReceiptPlan(30, bags=3)),
        60_000, "6.10", "11.2", note="The ground that the house blend stands on.",
        drying=0.005,
    ),
    LotPlan(
        "W", "Wadoru", "Ethiopia", "Sidama", "Wadoru station", "washed",
        (5.6, 6.3, 4.0, 3.6, 5.9, 3.6, 6.8, 5.6, 6.4),
        ("lemon", "jasmine", "peach", "black tea", "honey"),
        (ReceiptPlan(100, bags=2),),
        60_000, "9.40", "10.6",
    ),
    LotPlan(
        "F", "Tirfela", "Ethiopia", "Guji", "Tirfela drying beds", "natural",
        (6.4, 5.4, 5.0, 3.6, 6.7, 3.6, 4.8, 6.0, 6.6),
        ("blueberry", "strawberry", "wine", "rose", "ripe banana"),
        (
            ReceiptPlan(100, bags=2),
            ReceiptPlan(40, kind="sold", mass_g=-15_000, reason="Green for a home roaster"),
        ),
        60_000, "9.80", "10.9",
    ),
    LotPlan(
        "U", "Tres Umbrales", "Guatemala", "Huehuetenango", "Finca Tres Umbrales", "washed",
        (5.6, 5.2, 4.8, 4.0, 4.0, 3.8, 6.2, 5.2, 6.0),
        ("milk chocolate", "apple", "almond", "orange", "brown sugar"),
        (
            ReceiptPlan(110, bags=2),
            ReceiptPlan(24, kind="count", mass_g=-1_200, reason="Counted after the stock move"),
        ),
        69_000, "8.20", "11.0", note="No second container this season: find what follows it.",
    ),
    LotPlan(
        "A", "Almirena", "Honduras", "Marcala", "Finca Almirena", "honey",
        (6.4, 4.4, 5.2, 3.6, 4.8, 3.8, 5.6, 5.0, 6.2),
        ("caramel", "plum", "honey", "almond", "apricot"),
        (ReceiptPlan(60, bags=3),),
        69_000, "7.30", "11.4",
    ),
    LotPlan(
        "S", "Silonggah", "Indonesia", "Sumatra", "Silonggah growers", "wet-hulled",
        (4.4, 4.0, 6.4, 4.8, 3.4, 4.4, 3.4, 5.4, 4.6),
        ("cedar", "pepper", "tobacco", "dark chocolate", "damp earth"),
        (
            ReceiptPlan(120, bags=2),
            ReceiptPlan(45, kind="moisture", mass_g=-600, reason="Dried in store"),
        ),
        60_000, "7.90", "12.3",
    ),
    LotPlan(
        "O", "Ondakal", "India", "Kodagu", "Ondakal estate", "washed",
        (3.4, 3.6, 6.6, 5.4, 3.4, 4.5, 4.2, 5.2, 3.8),
        ("dark chocolate", "walnut", "rye bread", "pepper", "toast"),
        (ReceiptPlan(105, bags=3),),
        60_000, "4.90", "11.1", species="canephora",
    ),
    LotPlan(
        "D", "Rincón Ayuba", "Mexico", "Veracruz", "Rincón Ayuba growers", "washed",
        (4.8, 3.8, 4.4, 4.2, 3.2, 4.2, 4.6, 4.0, 4.6),
        ("malt", "raisin", "toast", "almond", "cereal"),
        (ReceiptPlan(80, bags=2),),
        69_000, "9.60", "10.3", decaffeinated=True, note="Decaffeinated with water.",
    ),
    LotPlan(
        "M", "Munyaza", "Rwanda", "Nyamasheke", "Munyaza station", "washed",
        (5.8, 6.0, 4.3, 3.7, 5.3, 3.7, 6.6, 5.4, 6.2),
        ("red apple", "orange", "black tea", "cranberry", "honey"),
        (ReceiptPlan(90, bags=2),),
        60_000, "8.90", "10.8",
    ),
)  # fmt: skip

# What is expected of a pairing beyond the weighted mean, per attribute, at full strength
# (a half-and-half blend shows a quarter of it).
PAIRINGS = {
    ("TL", "AM"): {"sweetness": 1.6, "liking": 1.6},
    ("TM", "OL"): {"body": 2.0, "bitterness": 1.6, "sweetness": -1.2},
    ("WL", "ML"): {"fruit": 1.4},
}

MACHINES = (
    MachinePlan("Large drum", "Yard", 6_000, 12_000),
    MachinePlan("Small drum", "Yard", 1_500, 4_000),
)


def _version(
    days_ago: int, charge_g: int, longer: int, *, colour: float, loss: float, note: str = ""
) -> VersionPlan:
    """Targets by how long the roast is; colour falls as the bean darkens."""
    seconds = {-1: 575, 0: 645, 1: 735}[longer] - (40 if charge_g < 5_000 else 0)
    end = {-1: 207.5, 0: 213.0, 1: 219.0}[longer]
    return VersionPlan(days_ago, charge_g, loss, colour, seconds, end, note)


APPROACHES = (
    ApproachPlan(
        "TM", "T", "medium", 0, "Large drum",
        (
            _version(95, 9_000, 0, colour=57, loss=15.4),
            _version(38, 9_000, 0, colour=56, loss=15.6, note="A touch further: hay in the cup."),
        ),
    ),
    ApproachPlan(
        "TL", "T", "long", 1, "Large drum", (_version(58, 9_000, 1, colour=48, loss=17.3),)
    ),
    ApproachPlan(
        "WL", "W", "light", -1, "Small drum",
        (
            _version(90, 2_800, -1, colour=67, loss=13.2),
            _version(50, 3_000, -1, colour=66, loss=13.4, note="Larger charge, same end."),
        ),
    ),
    ApproachPlan(
        "WM", "W", "medium", 0, "Small drum", (_version(45, 3_000, 0, colour=60, loss=14.6),)
    ),
    ApproachPlan(
        "FL", "F", "light", -1, "Small drum", (_version(90, 3_000, -1, colour=65, loss=13.6),)
    ),
    ApproachPlan(
        "UM", "U", "medium", 0, "Large drum", (_version(100, 9_000, 0, colour=58, loss=15.0),)
    ),
    ApproachPlan(
        "UL", "U", "long", 1, "Large drum",
        (_version(29, 9_000, 1, colour=50, loss=16.9, note="Roasted once, not cupped yet."),),
    ),
    ApproachPlan(
        "AM", "A", "medium", 0, "Large drum", (_version(48, 9_000, 0, colour=57, loss=15.2),)
    ),
    ApproachPlan(
        "SL", "S", "long", 1, "Large drum", (_version(100, 9_000, 1, colour=49, loss=17.6),)
    ),
    ApproachPlan(
        "OL", "O", "long", 1, "Large drum", (_version(100, 9_000, 1, colour=49, loss=16.6),)
    ),
    ApproachPlan(
        "DM", "D", "medium", 0, "Small drum", (_version(75, 3_000, 0, colour=55, loss=14.8),)
    ),
    ApproachPlan(
        "ML", "M", "light", -1, "Small drum", (_version(80, 3_000, -1, colour=66, loss=13.5),)
    ),
)  # fmt: skip

# What was roasted on which day; a batch is called by its day and its letter, such as 42b.
_ROASTED = {
    70: "TM UM SL", 67: "TM WL", 63: "TM UM ML", 60: "SL OL", 56: "TM UM TL", 53: "WL FL DM",
    49: "TM UM OL", 46: "AM ML", 42: "TM UM OL", 39: "WL WM", 35: "TM UM AM", 32: "TL OL",
    28: "TM UM UL", 25: "FL ML AM", 21: "TM TM OL", 18: "UM WL DM", 14: "TM UM UM", 11: "AM TL OL",
    8: "TM UM", 6: "WM ML", 4: "TM UM OL", 2: "AM TL", 1: "TM AM",
}  # fmt: skip

_FAULTS = {
    "63b": Fault(loss_pct=1.2, note="Weighed twice; loss is high for the colour."),
    "49b": Fault(colour=4.5, loss_pct=-0.8, end_temperature_c=-2.5, note="Dropped early by hand."),
    "32a": Fault(seconds=42, note="Started cold after the break."),
    "18a": Fault(colour=-3.2, loss_pct=0.6, end_temperature_c=1.8),
    "14c": Fault(
        colour=-6.5,
        loss_pct=1.4,
        seconds=78,
        end_temperature_c=2.6,
        taste={
            "sweetness": -1.3,
            "acidity": -1.7,
            "body": -0.4,
            "bitterness": 1.7,
            "fruit": -1.2,
            "roast": 1.9,
            "cleanness": -1.2,
            "aftertaste": -0.4,
            "liking": -1.9,
        },
        note="Gas pressure fell after first crack; it stalled, then ran hot.",
    ),
    "2b": Fault(colour=2.8, seconds=-24),
}

_VERDICTS: dict[str, tuple[tuple[str, str, int], ...]] = {
    "49b": (("look again", "Colour 4 lighter than meant.", 48), ("release", "Filter only.", 46)),
    "18a": (("look again", "Darker than meant; cup it beside the next batch.", 17),),
    "14c": (
        ("look again", "Stalled after first crack.", 13),
        ("hold", "Tastes of the roast, flat and bitter beside {14b}; keep it out of Ropewalk.", 10),
    ),
    **dict.fromkeys(("4c", "2a", "2b", "1a", "1b"), ()),
}


def _batches() -> tuple[BatchPlan, ...]:
    plans = []
    for day, roasted in _ROASTED.items():
        for place, approach in enumerate(roasted.split()):
            key = f"{day}{'abc'[place]}"
            plans.append(
                BatchPlan(
                    key,
                    approach,
                    day,
                    minute=9 * 60 + 10 + 19 * place,
                    operator="idris" if day % 3 else "lotte",
                    fault=_FAULTS.get(key, Fault()),
                    verdicts=_VERDICTS.get(key, (("release", "", day - 1),)),
                )
            )
    return tuple(plans)


BATCHES = _batches()
