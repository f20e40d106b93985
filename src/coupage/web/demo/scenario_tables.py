"""The demo's protocols, samples and tables. All names are invented."""

from __future__ import annotations

from coupage.web.demo.scenario_coffees import BATCHES
from coupage.web.demo.shapes import CuppingPlan, ProtocolPlan, SamplePlan, StepPlan

__all__ = ["CUPPINGS", "PROTOCOLS", "SAMPLES"]

_GRIND = StepPlan(
    "Grind each bowl on its own, then smell it dry",
    caution="Ground coffee gives off carbon monoxide and diacetyl: ventilate, draw the air off.",
)
_POUR = StepPlan(
    "Pour to the rim and start the clock",
    0,
    "Water near boiling scalds: steady kettle, nobody reaches across the table.",
)
_BREAK = StepPlan("Break the crust, three strokes, and smell", 240)
_SKIM = StepPlan("Skim with two spoons, rinse them between bowls", 300)
_OWN_SPOON = "Own spoon and glass, rinse between cups; spit, and keep a tally of what you swallow."
_TOO_HOT = "Wait until the cup is below 65 °C before tasting (IARC Monograph 116, 2016)."
_RATIO = "Ratio 8.25 g to 150 mL and 93 °C: SCA Coffee Standards 2018, 3.1 and 3.3"

PROTOCOLS = (
    # 8.25 g / 150 mL x 220 mL = 12.1 g
    ProtocolPlan(
        "House cupping, 220 mL bowl",
        12_100,
        220,
        "93",
        ("warm", "cool"),
        f"{_RATIO}; times: common practice",
        (
            StepPlan("Weigh each bowl, 12.1 g, and write its code underneath"),
            _GRIND,
            _POUR,
            _BREAK,
            _SKIM,
            StepPlan("Taste warm, each in the own order", 780, _TOO_HOT),
            StepPlan("Taste cool, same order", 1500, _OWN_SPOON),
        ),
    ),
    ProtocolPlan(
        "Short table, 220 mL bowl",
        12_100,
        220,
        "93",
        ("warm",),
        f"{_RATIO}; times: common practice",
        (
            StepPlan("Weigh each bowl, 12.1 g, and write its code underneath"),
            _GRIND,
            _POUR,
            _BREAK,
            _SKIM,
            StepPlan("Taste warm, each in the own order", 780, f"{_TOO_HOT} Spit; own spoon."),
        ),
    ),
    ProtocolPlan(
        "In milk, strong brew",
        22_000,
        150,
        "93",
        ("milk",),
        "Proportions of the house; no published source",
        (
            StepPlan("Weigh 22.0 g for each brew"),
            _GRIND,
            _POUR,
            StepPlan("Strain after four minutes", 240, "Hot brew scalds: strain into a held jug."),
            StepPlan(
                "Mix 40 g of brew with 120 g of milk at 60 °C",
                300,
                "Milk is an allergen: ask before, and keep plant drinks and their spoons apart.",
            ),
            StepPlan("Taste, each in the own order", 360, _OWN_SPOON),
        ),
    ),
)

# Trial blends, weighed from batches in per cent. The first of each pair of days is the pull.
_TRIALS = (
    SamplePlan("rope-2", {"42a": 50, "42b": 35, "42c": 15}, 40, "Ropewalk 2", ("R", 2)),
    SamplePlan("two-a", {"42a": 60, "42c": 40}, 40, "Tovaco 60 Ondakal 40"),
    SamplePlan("two-b", {"42a": 55, "42b": 45}, 40, "Tovaco 55 Umbrales 45"),
    SamplePlan("two-c", {"42b": 65, "42c": 35}, 40, "Umbrales 65 Ondakal 35"),
    SamplePlan("rope-3", {"32a": 45, "25c": 40, "21c": 15}, 17, "Ropewalk 3", ("R", 3)),
    SamplePlan("two-d", {"32a": 50, "25c": 50}, 17, "Tovaco long 50 Almirena 50"),
    SamplePlan("two-e", {"32a": 75, "21c": 25}, 17, "Tovaco long 75 Ondakal 25"),
    SamplePlan("three", {"21a": 45, "25c": 40, "21c": 15}, 17, "Tovaco 45 Almirena 40 Ondakal 15"),
    SamplePlan("slack-1", {"18b": 40, "25b": 35, "25c": 25}, 17, "Slack Tide 1", ("S", 1)),
    SamplePlan("rope-2m", {"4a": 50, "4b": 35, "4c": 15}, 0, "Ropewalk 2 for milk", ("R", 2)),
    SamplePlan("rope-3m", {"2b": 45, "2a": 40, "4c": 15}, 0, "Ropewalk 3 for milk", ("R", 3)),
)

_HOUSE, _SHORT, _MILK = (protocol.name for protocol in PROTOCOLS)
_ALL = ("Tamsin", "Idris", "Lotte", "Noor", "Petra", "Joss")

CUPPINGS = (
    CuppingPlan(
        "c1", "First table of the season", 65, 600, _HOUSE, "idris",
        ("Tamsin", "Idris", "Lotte", "Noor", "Joss"),
        {"70a": 2, "67a": 1, "70b": 1, "70c": 1, "67b": 1},
        (1.0,) * 5, note="One bowl stands twice, so that we learn how steady we are.",
    ),
    CuppingPlan(
        "c2", "Everything on the shelf", 51, 615, _SHORT, "idris",
        ("Idris", "Lotte", "Noor", "Petra"),
        {"63c": 1, "60a": 1, "60b": 1, "56c": 1, "56b": 1, "53a": 1, "53b": 1, "53c": 1},
        (1.0,) * 4,
    ),
    CuppingPlan(
        "c3", "Ropewalk, how much canephora", 40, 600, _HOUSE, "idris", _ALL,
        {"42a": 1, "42b": 1, "42c": 1, "rope-2": 2, "two-a": 1, "two-b": 1, "two-c": 1},
        (1.0,) * 6, note="Straight coffees beside their blends: do they do more than their mean?",
    ),
    CuppingPlan(
        "c4", "Two of us before opening", 31, 435, _SHORT, "lotte", ("Lotte", "Joss"),
        {"46a": 1, "35c": 1, "35b": 1, "42b again": 1, "39b": 1, "32b": 1},
        (1.0,) * 2, note="Only two tasters: a look, not an answer.",
    ),
    CuppingPlan(
        "c5", "Ropewalk without Umbrales", 17, 600, _HOUSE, "idris",
        ("Tamsin", "Idris", "Lotte", "Noor", "Petra"),
        {
            "25c": 1, "32a": 1, "21c": 1, "rope-3": 2, "two-d": 1, "two-e": 1, "three": 1,
            "slack-1": 1,
        },
        (1.0,) * 5,
    ),
    CuppingPlan(
        "c6", "Do the batches agree", 10, 600, _HOUSE, "idris", _ALL,
        {"14a": 2, "21b": 2, "14b": 2, "14c": 2, "42a again": 1},
        (1.0,) * 6, note="And what a month in the bag has done to {42a}.",
    ),
    CuppingPlan(
        "c7", "This week's batches", 1, 980, _SHORT, "lotte", ("Idris", "Lotte", "Noor"),
        {"4a": 1, "4b": 1, "4c": 1, "2a": 1, "2b": 1},
        (1.0, 0.6, 0.0), state="open", note="Noor comes after the shift.",
    ),
    CuppingPlan(
        "c8", "Ropewalk 2 and 3 in milk", -1, 600, _MILK, "idris",
        ("Tamsin", "Idris", "Lotte", "Noor"), {"rope-2m": 2, "rope-3m": 2},
        (0.0,) * 4, state="planned",
    ),
    *(
        CuppingPlan(
            f"a{day}", f"A month of Tovaco, day {day}", 28 - day, 990, _SHORT, "lotte",
            ("Idris", "Lotte", "Noor", "Petra"), {f"28a day {day}": 2, f"35a day {day}": 1},
            (1.0,) * 4, added=True, note="{35a} stands beside it, to tell a day's mood from age.",
        )
        for day in (2, 5, 9, 14)
    ),
)  # fmt: skip


def _samples() -> tuple[SamplePlan, ...]:
    """One sample of each batch that stands on a table; pulled anew for a later table."""
    trials = {trial.key for trial in _TRIALS}
    known = {batch.key for batch in BATCHES}
    pulled = {}
    for cupping in CUPPINGS:
        for key in cupping.cups:
            if key not in trials:
                batch = key.split(" ")[0]
                assert batch in known  # noqa: S101 - a slip in this file, not an input
                pulled[key] = SamplePlan(key, {batch: 100}, cupping.days_ago)
    return (*pulled.values(), *_TRIALS)


SAMPLES = _samples()
