"""Difference tests: can anybody tell two coffees apart, and how sure is that.

Triangle, duo-trio, 2-AFC, 3-AFC and tetrad by exact binomial rules and Thurstonian d-prime,
repeated tasters, sequential stopping, sets of cups for a session; besides, equivalence of two
means and agreement between tasters.
"""

from __future__ import annotations

from coupage.difference.agreement import IntraclassCorrelations, intraclass
from coupage.difference.cups import CupUniformity, cup_uniformity
from coupage.difference.equivalence import Equivalence, equivalence
from coupage.difference.exact import (
    assessors_needed,
    max_correct_similar,
    min_correct,
    power,
    power_similar,
)
from coupage.difference.judgement import Judgement, judge
from coupage.difference.protocols import (
    TESTS,
    TestName,
    correct_from_share,
    guess_chance,
    share_from_correct,
)
from coupage.difference.repeated import RepeatedJudgement, judge_repeated
from coupage.difference.sequential import SequentialPlan, SequentialRisks, sequential_plan
from coupage.difference.sets import CupSet, cup_sets, set_orders
from coupage.difference.thurstone import d_prime, proportion_correct

__all__ = [
    "TESTS",
    "CupSet",
    "CupUniformity",
    "Equivalence",
    "IntraclassCorrelations",
    "Judgement",
    "RepeatedJudgement",
    "SequentialPlan",
    "SequentialRisks",
    "TestName",
    "assessors_needed",
    "correct_from_share",
    "cup_sets",
    "cup_uniformity",
    "d_prime",
    "equivalence",
    "guess_chance",
    "intraclass",
    "judge",
    "judge_repeated",
    "max_correct_similar",
    "min_correct",
    "power",
    "power_similar",
    "proportion_correct",
    "sequential_plan",
    "set_orders",
    "share_from_correct",
]
