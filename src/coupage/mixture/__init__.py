"""Mixtures: feasible regions, designs, model terms and fits."""

from coupage.mixture.decision import Aspect, Doubt, doubt_about
from coupage.mixture.distinct import Aim, distinct, with_repeats
from coupage.mixture.lattices import simplex_centroid, simplex_lattice
from coupage.mixture.limits import Group
from coupage.mixture.region import Region
from coupage.mixture.scheffe import ScheffeFit, fit_scheffe
from coupage.mixture.seeing import Seeing, Spreads, cups_needed, seen_chance
from coupage.mixture.terms import model_matrix, term_names
from coupage.mixture.trials import Trials, assess, choose_trials

__all__ = [
    "Aim",
    "Aspect",
    "Doubt",
    "Group",
    "Region",
    "ScheffeFit",
    "Seeing",
    "Spreads",
    "Trials",
    "assess",
    "choose_trials",
    "cups_needed",
    "distinct",
    "doubt_about",
    "fit_scheffe",
    "model_matrix",
    "seen_chance",
    "simplex_centroid",
    "simplex_lattice",
    "term_names",
    "with_repeats",
]
