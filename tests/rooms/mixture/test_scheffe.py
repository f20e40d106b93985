"""Lattices, terms and fits against published figures."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from coupage.errors import InputError
from coupage.mixture import (
    fit_scheffe,
    model_matrix,
    simplex_centroid,
    simplex_lattice,
    term_names,
)
from coupage.mixture.terms import term_count

REFERENCES = Path(__file__).parents[2] / "references"
FITS = json.loads((REFERENCES / "mixture_fits" / "values.json").read_text())
POINTS = json.loads((REFERENCES / "mixture_points" / "values.json").read_text())


def test_lattices_have_the_published_numbers_of_points():
    # Scheffe (1958); NIST/SEMATECH e-Handbook 5.5.4.2, Table 5.3 lists the {3, 3} lattice.
    expected = POINTS["lattice-counts"]["expected"]
    for key, count in expected["N"].items():
        q, degree = map(int, key.split(","))
        points = simplex_lattice(q, degree)
        assert len(np.unique(points, axis=0)) == len(points) == count
        assert (points.sum(axis=1) == pytest.approx(1)).__bool__()
    np.testing.assert_allclose(simplex_lattice(3, 3), sorted(expected["table_5_3"]))


def test_centroids_have_the_published_numbers_of_points():
    # Scheffe (1963); NIST/SEMATECH e-Handbook 5.5.4.3.
    for q, count in POINTS["centroid-counts"]["expected"]["N"].items():
        points = simplex_centroid(int(q))
        assert len(np.unique(points, axis=0)) == count
        used = points > 0
        np.testing.assert_allclose(points[used], (1 / used.sum(1))[np.nonzero(used)[0]])


@pytest.mark.parametrize("order", ["special cubic", "full cubic"])
def test_numbers_of_terms_are_the_published_ones(order):
    expected = POINTS["centroid-counts"]["expected"][order.replace(" ", "_") + "_terms"]
    for q, count in expected.items():
        x = simplex_lattice(int(q), 3)
        assert model_matrix(x, order).shape[1] == count == term_count(int(q), order)
        assert np.linalg.matrix_rank(model_matrix(x, order)) == count
        assert len(term_names([str(i) for i in range(int(q))], order)) == count


@pytest.mark.parametrize("order", ["linear", "quadratic", "special cubic", "full cubic"])
def test_each_column_holds_what_its_name_says(order):
    x = np.random.default_rng(0).dirichlet(np.ones(4), 5)
    shares = dict(zip("abcd", x.T, strict=True))
    columns = [eval(n.replace(" x ", "*"), {}, shares) for n in term_names("abcd", order)]
    np.testing.assert_allclose(model_matrix(x, order), np.column_stack(columns))


def test_yarn_fit_is_the_handbooks():
    # NIST/SEMATECH e-Handbook 5.5.4.2: coefficients, standard errors, R-squared, residual sd.
    inputs, published = FITS["nist-5542-yarn"]["inputs"], FITS["nist-5542-yarn"]["expected"]
    full, published = published["recomputed_full"], published["published"]
    fit = fit_scheffe(inputs["X"], inputs["y"], "quadratic")
    np.testing.assert_allclose(fit.coefficients, list(published["coef"].values()), atol=1e-9)
    np.testing.assert_allclose(fit.standard_errors, list(published["se"].values()), atol=5e-7)
    assert fit.r_squared == pytest.approx(published["R2"], abs=5e-7)
    assert fit.residual_sd == pytest.approx(full["rmse"], abs=1e-12)
    assert fit.residual_sd == pytest.approx(published["rmse"], abs=5e-6)
    assert fit.residual_df == published["df_error"]
    # The fitted equation's highest point, found by hand on the edge x2 = 0.
    optimum = FITS["nist-5542-yarn"]["expected"]["optimum"]
    assert fit.predict([optimum["x"]])[0] == pytest.approx(optimum["yhat"], abs=1e-9)
    # A vertex is known by its two runs alone only through its own coefficient.
    assert fit.standard_error_of([[1, 0, 0]])[0] == pytest.approx(published["se"]["x1"], abs=5e-7)


def test_special_cubic_fit_is_the_textbooks():
    # Myers & Montgomery (2002), Table 12.4; equation from memory, printed to 0.1.
    entry = FITS["etch-special-cubic"]
    fit = fit_scheffe(entry["inputs"]["X"], entry["inputs"]["y"], "special cubic")
    printed = entry["expected"]["published_coef_from_memory"]
    np.testing.assert_allclose(fit.coefficients, list(printed.values()), atol=0.06)
    again = entry["expected"]["recomputed"]
    np.testing.assert_allclose(fit.standard_errors, again["se"], rtol=1e-9)
    assert fit.r_squared == pytest.approx(again["R2"], abs=1e-10)


def test_fit_in_pseudo_components_is_the_same_surface():
    # Lawson (2015), ch. 11: polvoron.
    inputs, expected = FITS["polvoron"]["inputs"], FITS["polvoron"]["expected"]
    x, lower = np.array(inputs["X"]), np.array(inputs["L"])
    fit = fit_scheffe(x, inputs["y"])
    np.testing.assert_allclose(fit.coefficients, expected["original"]["coef"], atol=1e-8)
    np.testing.assert_allclose(fit.standard_errors, expected["original"]["se"], atol=1e-8)
    pseudo = fit_scheffe((x - lower) / (1 - lower.sum()), inputs["y"])
    np.testing.assert_allclose(pseudo.coefficients, expected["pseudo_coef"], atol=1e-8)
    assert pseudo.r_squared == pytest.approx(fit.r_squared, abs=1e-12)


def test_a_saturated_fit_has_no_residual_to_tell_its_errors():
    x = simplex_lattice(3, 2)
    fit = fit_scheffe(x, np.arange(6.0))
    assert fit.residual_df == 0
    assert np.isnan(fit.standard_errors).all()
    np.testing.assert_allclose(fit.predict(x), np.arange(6.0), atol=1e-12)


@pytest.mark.parametrize(
    ("x", "y", "message"),
    [
        ([[1, 0], [0, 1]], [1.0], "one value each"),
        ([[1, 0.1], [0, 1]], [1, 2], "row 0 sums to 1.1"),
        ([[1, 0], [0, 1]], [1, 2], "tell only 2 of the 3 terms"),
        ([[1, 0], [0, 1]], [1, float("inf")], "finite"),
        ([1, 0], [1, 2], "rows of shares"),
    ],
)
def test_wrong_data_are_named(x, y, message):
    with pytest.raises(InputError, match=message):
        fit_scheffe(x, y, "quadratic")


def test_unknown_orders_and_counts_are_named():
    with pytest.raises(InputError, match="'cubic' must be one of linear"):
        model_matrix([[1, 0]], "cubic")
    for wrong in (0, 2.5):
        with pytest.raises(InputError, match="whole number"):
            simplex_lattice(wrong, 2)
    with pytest.raises(InputError, match="more than"):
        simplex_centroid(25)
