"""Mixtures: feasible regions, designs, model terms and fits."""

from coupage.mixture.lattices import simplex_centroid, simplex_lattice
from coupage.mixture.limits import Group
from coupage.mixture.region import Region
from coupage.mixture.scheffe import ScheffeFit, fit_scheffe
from coupage.mixture.terms import model_matrix, term_names

__all__ = [
    "Group",
    "Region",
    "ScheffeFit",
    "fit_scheffe",
    "model_matrix",
    "simplex_centroid",
    "simplex_lattice",
    "term_names",
]
