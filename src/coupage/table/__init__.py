"""The table: blind codes, serving orders, weighing, brewing sums and what a scoop gets wrong."""

from __future__ import annotations

from coupage.table.brew import (
    CUPPING_GRAMS_PER_ML,
    dose_grams,
    extraction_immersion,
    extraction_percolation,
    milk_dilution,
    milk_strength,
    water_ml,
)
from coupage.table.caffeine import (
    CAFFEINE_SHARE,
    DAY_MG,
    ONCE_MG,
    SPIT_SHARE,
    caffeine_per_spoon,
)
from coupage.table.codes import blind_codes
from coupage.table.late import late_order
from coupage.table.mixing import Mixing, mixing_check
from coupage.table.orders import OrderBalance, order_balance, serving_orders, williams
from coupage.table.scoop import absent_chance, scoop_advice, scoop_error
from coupage.table.weighing import Weighing, pull_grams, weigh

__all__ = [
    "CAFFEINE_SHARE",
    "CUPPING_GRAMS_PER_ML",
    "DAY_MG",
    "ONCE_MG",
    "SPIT_SHARE",
    "Mixing",
    "OrderBalance",
    "Weighing",
    "absent_chance",
    "blind_codes",
    "caffeine_per_spoon",
    "dose_grams",
    "extraction_immersion",
    "extraction_percolation",
    "late_order",
    "milk_dilution",
    "milk_strength",
    "mixing_check",
    "order_balance",
    "pull_grams",
    "scoop_advice",
    "scoop_error",
    "serving_orders",
    "water_ml",
    "weigh",
    "williams",
]
