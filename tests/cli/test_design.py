"""`coupage design`: blends to cup, from flags and from a file."""

from __future__ import annotations

import csv
import io
import json

import pytest
from tests.cli.doors import BRIEF, EXAMPLES, RATINGS, SAMPLES, coupage

from coupage.cli.briefs import read_brief
from coupage.cli.main import main
from coupage.cli.tables import read_tables
from coupage.mixture import Region
from coupage.panel import fit
from coupage.recipe import doubt_of_beliefs

DESIGN = EXAMPLES / "design.toml"
THREE = ["--coffee", "A", "--coffee", "B", "--coffee", "C"]


def data(capsys, *arguments):
    assert main(["design", *map(str, arguments), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def blends(found):
    return sorted(tuple(sorted(s["shares"].items())) for s in found["samples"])


def test_the_example_gives_samples_within_its_limits_on_its_step(capsys):
    found = data(capsys, DESIGN)
    assert len(found["samples"]) == 7
    assert any(s["repeats"] for s in found["samples"])
    for sample in found["samples"]:
        shares = sample["shares"]
        assert sum(shares.values()) == pytest.approx(1, abs=1e-9)
        assert all(round(share * 1e6) % 50_000 == 0 for share in shares.values())
        assert shares.get("Orvalhal natural", 0) <= 0.5, "washed and wet-hulled are half at least"
        assert shares.get("Kiruvi washed", 0) >= 0.1


def test_the_d_optimal_design_is_the_lattice(capsys):
    """Kiefer (1961): the {3, 2} lattice is D-optimal for the quadratic model.

    Its model matrix is triangular with 1, 1, 1, 1/4, 1/4, 1/4 on the diagonal: |X'X| = 1/4**6.
    """
    found = data(capsys, *THREE, "--samples", 6, "--criterion", "coefficients")
    straight = [((name, 1.0),) for name in "ABC"]
    halves = [((a, 0.5), (b, 0.5)) for a, b in ("AB", "AC", "BC")]
    assert blends(found) == sorted(straight + halves)
    assert found["d_efficiency"] == pytest.approx((1 / 4**6) ** (1 / 6) / 6, rel=1e-9)


def test_csv_can_be_kept_for_the_next_design(tmp_path, capsys):
    done = coupage("design", *THREE, "--samples", 6, "--csv")
    assert done.returncode == 0
    rows = list(csv.DictReader(io.StringIO(done.stdout)))
    assert {row["component"] for row in rows} == {"A", "B", "C"}
    assert len({row["sample"] for row in rows}) == 6
    kept = tmp_path / "kept.csv"
    kept.write_text(done.stdout, encoding="utf-8")
    found = data(capsys, *THREE, "--samples", 3, "--keep", kept)
    assert [s["new"] for s in found["samples"]] == [False] * 6 + [True] * 3


def test_kept_samples_of_other_coffees_are_left_out_and_named(capsys):
    two = ["--coffee", "Kiruvi washed", "--coffee", "Orvalhal natural"]
    found = data(capsys, *two, "--samples", 2, "--keep", SAMPLES)
    rows = list(csv.DictReader(io.StringIO(SAMPLES.read_text(encoding="utf-8"))))
    others = {r["sample"] for r in rows if r["component"] not in two}
    assert set(found["kept_left_out"]) == others
    assert sum(not s["new"] for s in found["samples"]) == len({r["sample"] for r in rows} - others)


def test_flags_set_bounds_groups_sets_and_a_reference(capsys):
    found = data(
        capsys,
        *("--coffee", "A=20%..60%", "--coffee", "B", "--coffee", "C=..0.5", "--coffee", "D"),
        *("--together", "B+C=30%..", "--one-of", "C+D", "--samples", "12", "--step", "10%"),
        *("--reference", "A=50%+B=50%"),
    )
    assert next(s for s in found["samples"] if s["reference"])["shares"] == {"A": 0.5, "B": 0.5}
    for sample in found["samples"]:
        shares = sample["shares"]
        assert 0.2 - 1e-9 <= shares.get("A", 0) <= 0.6 + 1e-9
        assert shares.get("B", 0) + shares.get("C", 0) >= 0.3 - 1e-9
        assert not {"C", "D"} <= shares.keys()


def test_flags_stand_in_place_of_the_file_and_a_seed_fixes_the_search(capsys):
    found = data(capsys, DESIGN, "--samples", 8, "--repeats", 0, "--seed", 3)
    assert len(found["samples"]) == 8
    assert found == data(capsys, DESIGN, "--samples", 8, "--repeats", 0, "--seed", 3)


def test_the_text_says_what_to_cup(capsys):
    assert main(["design", str(DESIGN)]) == 0
    shown = capsys.readouterr().out
    assert shown.startswith("Cup these 7 samples: ")
    assert "again " in shown
    assert "at least 10 % Kiruvi washed" in shown


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        ([], "samples"),
        (["--samples", "6"], "coffee: 0 came"),
        ([*THREE, "--samples", "1"], "samples: 1"),
        ([*THREE, "--samples", "30"], "samples: 30"),
        ([*THREE, "--samples", "x"], "--samples"),
        ([*THREE, "--samples", "4"], "cannot tell the 6 terms"),
        ([*THREE, "--samples", "6", "--repeats", "6"], "repeats"),
        ([*THREE, "--samples", "6", "--step", "7%"], "step"),
        ([*THREE, "--samples", "6", "--step", "200%"], "--step"[2:]),
        ([*THREE, "--samples", "6", "--criterion", "best"], "--criterion"),
        ([*THREE, "--samples", "6", "--together", "A+B"], "--together"),
        ([*THREE, "--samples", "6", "--together", "A+X=30%.."], "'X' is not among the coffees"),
        ([*THREE, "--samples", "6", "--coffee", "D=60%..20%"], "--coffee"),
        ([*THREE, "--samples", "6", "--coffee", "D=60"], "write 20 % or 0.2"),
        ([*THREE, "--samples", "6", "--reference", "A=50%+B=40%"], "90 %"),
        ([*THREE, "--samples", "6", "--seed", "-1"], "seed"),
        ([*THREE, "--samples", "6", "--keep", "gone.csv"], "gone.csv"),
        ([*THREE, "--samples", "6", "--keep", str(SAMPLES)], "keep: no sample"),
        (["gone.toml"], "gone.toml: there is no such file"),
        (
            ["--coffee", "A=80%..", "--coffee", "B=30%..", "--samples", "4"],
            "at least 80 % A; at least 30 % B",
        ),
    ],
)
def test_wrong_arguments_are_told_in_one_line(arguments, told, capsys):
    try:
        status = main(["design", *arguments])
    except SystemExit as ended:
        status = ended.code
    shown = capsys.readouterr()
    assert status == 2
    assert told in shown.err
    assert shown.err.count("\n") == 1
    assert shown.out == ""


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("samples = ", "is not TOML"),
        ("sample = 6", "did you mean 'samples'?"),
        ('[coffee.A]\nlest = "20 %"', "did you mean 'least'?"),
        ('[coffee.A]\nleast = "much"', "coffee"),
        ("coffee = 3", "[coffee"),
        ("[[together]]\ncoffees = ['A']", "give least or most"),
        ("[[together]]\nleast = 0.3", "write the coffees as a list"),
        ("samples = 6.5\n[coffee.A]\n[coffee.B]", "samples: 6.5"),
        ("samples = true\n[coffee.A]\n[coffee.B]", "samples: True"),
        ("one_of = 3", "one_of"),
        ("samples = 6\nreference = 3", "reference"),
        ("samples = 6\nkeep = 3", "keep"),
    ],
)
def test_a_wrong_file_is_told_in_one_line(text, told, tmp_path, capsys):
    file = tmp_path / "plan.toml"
    file.write_text(text, encoding="utf-8")
    assert main(["design", str(file)]) == 2
    shown = capsys.readouterr()
    assert told in shown.err
    assert shown.err.count("\n") == 1
    assert shown.out == ""


def test_a_wrong_file_answers_before_the_numerical_libraries_are_loaded(tmp_path):
    import subprocess
    import sys

    code = (
        "import sys\nfrom coupage.cli.main import main\n"
        "assert main(['design', '--samples', '6']) == 2\n"
        "print('loaded:', *sorted({'numpy', 'scipy'} & sys.modules.keys()))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "loaded:"


KNOWN = ["--ratings", RATINGS, "--cupped", SAMPLES, "--brief", BRIEF]


def test_a_decision_is_planned_from_what_was_cupped(capsys):
    """Against the doubt left by the same table planned to learn everywhere."""
    found = data(capsys, DESIGN, "--criterion", "decision", *KNOWN)
    everywhere = data(capsys, DESIGN, "--criterion", "everywhere")
    names = found["coffees"]
    region = Region(names, [0, 0.1, 0.05], [0.6, 1, 1])
    tables = read_tables(str(RATINGS), str(SAMPLES))
    doubt = doubt_of_beliefs(
        read_brief(BRIEF.read_bytes(), BRIEF.name).brief,
        fit(tables.ratings, tables.samples),
        region,
        step=0.05,
        tasters=3,
    )

    def left(samples):
        return doubt.left([[s["shares"].get(name, 0.0) for name in names] for s in samples])

    assert left(found["samples"]) < left(everywhere["samples"]) < left(found["samples"][:2])
    assert sum(s["repeats"] is not None for s in found["samples"]) == 1


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--criterion", "decision"], "ratings: a decision needs"),
        (KNOWN, 'serves only criterion = "decision"'),
        (["--criterion", "decision", *KNOWN, "--keep", SAMPLES], "keep: what was cupped counts"),
        (["--criterion", "decision", *KNOWN, "--order", "full cubic"], "order: a decision"),
        (["--criterion", "decision", *KNOWN, "--tasters", "0"], "tasters"),
    ],
)
def test_a_decision_without_its_files_is_refused(more, said):
    done = coupage("design", DESIGN, *more)
    assert done.returncode == 2
    assert said in done.stderr
