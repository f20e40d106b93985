"""The shapes in which the demo roastery is written down: plain, frozen, no database.

Days are counted back from the day on which the demo is loaded (``days_ago``; negative is ahead),
so that the demo is always fresh. Things name each other by short keys.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

__all__ = [
    "ApproachPlan",
    "AttributePlan",
    "BatchPlan",
    "BlendPlan",
    "BriefPlan",
    "CuppingPlan",
    "Fault",
    "LotPlan",
    "MachinePlan",
    "PersonPlan",
    "ProtocolPlan",
    "ReceiptPlan",
    "RecipePlan",
    "SamplePlan",
    "Scenario",
    "StepPlan",
    "TasterPlan",
    "VersionPlan",
    "WantPlan",
]


@dataclass(frozen=True, slots=True)
class PersonPlan:
    sign_in: str
    name: str
    role: str


@dataclass(frozen=True, slots=True)
class TasterPlan:
    """Somebody at the table; ``steadiness`` multiplies the own noise, above 1 is shakier."""

    name: str
    sign_in: str = ""
    steadiness: float = 1.0


@dataclass(frozen=True, slots=True)
class AttributePlan:
    """``fade`` is the expected change per day of age, ``roast_step`` what a longer roast adds."""

    name: str
    low_word: str
    high_word: str
    tolerance: str
    roast_step: float
    fade: float
    liking: bool = False


@dataclass(frozen=True, slots=True)
class ReceiptPlan:
    """A line of the stock ledger. Receipts come in whole bags, everything else in grams."""

    days_ago: int
    bags: int = 0
    kind: str = "receipt"
    mass_g: int = 0
    reason: str = ""


@dataclass(frozen=True, slots=True)
class LotPlan:
    """``character`` is what is expected of the lot at a medium roast, one value per attribute.

    ``drying`` is how many points of loss its batches lose per day, as less water is left to lose.
    """

    key: str
    name: str
    origin: str
    region: str
    producer: str
    process: str
    character: tuple[float, ...]
    words: tuple[str, ...]
    stock: tuple[ReceiptPlan, ...]
    bag_g: int
    price_per_kg: str
    moisture_pct: str
    species: str = "arabica"
    decaffeinated: bool = False
    note: str = ""
    drying: float = 0.0


@dataclass(frozen=True, slots=True)
class VersionPlan:
    days_ago: int
    charge_g: int
    loss_pct: float
    colour: float
    seconds: int
    end_temperature_c: float
    note: str = ""


@dataclass(frozen=True, slots=True)
class ApproachPlan:
    """``longer`` counts steps from a medium roast: -1 lighter, +1 longer."""

    key: str
    lot: str
    name: str
    longer: int
    machine: str
    versions: tuple[VersionPlan, ...]


@dataclass(frozen=True, slots=True)
class MachinePlan:
    name: str
    site: str
    least_charge_g: int
    largest_charge_g: int


@dataclass(frozen=True, slots=True)
class Fault:
    """What went wrong with a batch, as the instruments show it and as it tastes."""

    colour: float = 0.0
    loss_pct: float = 0.0
    seconds: int = 0
    end_temperature_c: float = 0.0
    taste: Mapping[str, float] = field(default_factory=dict)
    note: str = ""


@dataclass(frozen=True, slots=True)
class BatchPlan:
    """``verdicts`` are the verdict, its reason and how many days ago, oldest first."""

    key: str
    approach: str
    days_ago: int
    minute: int
    operator: str
    fault: Fault
    verdicts: tuple[tuple[str, str, int], ...]


@dataclass(frozen=True, slots=True)
class StepPlan:
    name: str
    at_s: int | None = None
    caution: str = ""


@dataclass(frozen=True, slots=True)
class ProtocolPlan:
    name: str
    dose_mg: int
    water_g: int
    water_c: str
    passes: tuple[str, ...]
    source: str
    steps: tuple[StepPlan, ...]


@dataclass(frozen=True, slots=True)
class SamplePlan:
    """Shares in per cent by batch; ``recipe`` names blend and version that a trial was made to."""

    key: str
    parts: Mapping[str, int]
    days_ago: int
    name: str = ""
    recipe: tuple[str, int] | None = None


@dataclass(frozen=True, slots=True)
class CuppingPlan:
    """``cups`` maps samples to cups; more than one cup of a sample is a hidden repeat.

    ``filled`` is the share of cups that each taster has rated, in the order of ``tasters``.
    ``added`` tables are drawn after all others, so that they change nobody else's chance.
    """

    key: str
    name: str
    days_ago: int
    minute: int
    protocol: str
    host: str
    tasters: tuple[str, ...]
    cups: Mapping[str, int]
    filled: tuple[float, ...]
    state: str = "revealed"
    note: str = ""
    added: bool = False


@dataclass(frozen=True, slots=True)
class WantPlan:
    attribute: str
    kind: str
    low: str
    high: str
    importance: str = "1"
    must: bool = False


@dataclass(frozen=True, slots=True)
class BriefPlan:
    name: str
    service: str
    cost_cap: str
    max_components: int
    note: str
    wants: tuple[WantPlan, ...]


@dataclass(frozen=True, slots=True)
class RecipePlan:
    """Shares in per cent by approach, and the days on which it was made, served and retired."""

    version: int
    shares: Mapping[str, int]
    state: str
    reason: str
    made: int
    served: int | None = None
    retired: int | None = None


@dataclass(frozen=True, slots=True)
class BlendPlan:
    key: str
    name: str
    brief: str
    note: str
    recipes: tuple[RecipePlan, ...]


@dataclass(frozen=True)
class Scenario:
    """The whole invented world."""

    roastery: str
    currency: str
    time_zone: str
    colour_scale: str
    people: tuple[PersonPlan, ...]
    tasters: tuple[TasterPlan, ...]
    attributes: tuple[AttributePlan, ...]
    lots: tuple[LotPlan, ...]
    approaches: tuple[ApproachPlan, ...]
    pairings: Mapping[tuple[str, str], Mapping[str, float]]
    machines: tuple[MachinePlan, ...]
    batches: tuple[BatchPlan, ...]
    protocols: tuple[ProtocolPlan, ...]
    samples: tuple[SamplePlan, ...]
    cuppings: tuple[CuppingPlan, ...]
    briefs: tuple[BriefPlan, ...]
    blends: tuple[BlendPlan, ...]

    @cached_property
    def components(self) -> dict[str, str]:
        """Approach key to the name under which beliefs know it, as the web writes it too."""
        lots = {lot.key: lot.name for lot in self.lots}
        return {a.key: f"{lots[a.lot]} ({a.name})" for a in self.approaches}

    @cached_property
    def attribute_names(self) -> tuple[str, ...]:
        return tuple(attribute.name for attribute in self.attributes)

    @cached_property
    def batch(self) -> dict[str, BatchPlan]:
        return {batch.key: batch for batch in self.batches}

    @cached_property
    def sample(self) -> dict[str, SamplePlan]:
        return {sample.key: sample for sample in self.samples}

    @cached_property
    def approach(self) -> dict[str, ApproachPlan]:
        return {approach.key: approach for approach in self.approaches}

    @cached_property
    def lot_of(self) -> dict[str, LotPlan]:
        """Approach key to its lot."""
        lots = {lot.key: lot for lot in self.lots}
        return {approach.key: lots[approach.lot] for approach in self.approaches}

    @cached_property
    def protocol(self) -> dict[str, ProtocolPlan]:
        return {protocol.name: protocol for protocol in self.protocols}

    def version_on(self, approach: str, days_ago: int) -> tuple[int, VersionPlan]:
        """Return number and targets of the version that was in force on a day."""
        known = enumerate(self.approach[approach].versions, start=1)
        return [(number, v) for number, v in known if v.days_ago >= days_ago][-1]
