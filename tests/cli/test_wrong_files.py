"""A wrong file gets one clear line - file, row, column, remedy - and status 2."""

from __future__ import annotations

from pathlib import Path

import pytest
from tests.cli.doors import BRIEF, RATINGS, SAMPLES, coupage

from coupage.cli.main import main

RATED = "cupping,taster,sample,attribute,rating\n"
MADE = "sample,component,proportion,batch,lot\n"


@pytest.fixture
def analyse(tmp_path, capsys):
    """Run on two files with this content; gives the status and the one line."""

    def run(
        ratings: str | bytes | Path = RATINGS, samples: str | bytes | Path = SAMPLES, *more: str
    ):
        paths = []
        for name, content in (("ratings.csv", ratings), ("samples.csv", samples)):
            if isinstance(content, Path):
                paths.append(content)
                continue
            paths.append(tmp_path / name)
            data = content.encode() if isinstance(content, str) else content
            paths[-1].write_bytes(data)
        status = main(["analyse", *map(str, paths), *more])
        shown = capsys.readouterr()
        assert shown.out == "" or status == 0
        assert status == 0 or "--every-problem" in more or shown.err.count("\n") == 1
        return status, shown.err or shown.out

    return run


@pytest.mark.parametrize(
    ("ratings", "row", "column", "remedy"),
    [
        (RATED + "a,t,417,body,much\n", 2, "rating", "write it like 14.2"),
        (RATED + "a,t,417,body,-1\n", 2, "rating", "below 0"),
        (RATED + "a,t,417,body,11\n", 2, "rating", "above 10"),
        (RATED + "a,t,417,body,5\na,t,417,body,6\n", 3, "cupping", "remove one of the two"),
        (RATED + "a,t,417,body,5\na,,417,body,6\n", 3, "taster", "fill it in"),
        (RATED + "a,t,4177,body,5\n", 2, "sample", "did you mean '417'"),
        (RATED.replace("taster", "tster") + "a,t,417,body,5\n", 1, "tster", "did you mean"),
    ],
)
def test_ratings(analyse, ratings, row, column, remedy):
    status, line = analyse(ratings)
    assert status == 2
    assert line.startswith("coupage analyse: ratings.csv: ")
    assert f"row {row}, column '{column}" in line
    assert remedy in line


@pytest.mark.parametrize(
    ("samples", "row", "column", "remedy"),
    [
        (MADE + "417,hill,60 %,,\n417,lake,39 %,,\n", 2, "proportion", "99 %"),
        (MADE + "417,hill,-10 %,,\n", 2, "proportion", "below 0 %"),
        (MADE + "417,hill,160 %,,\n", 2, "proportion", "above 100 %"),
        (MADE + "417,hill,half,,\n", 2, "proportion", "not a number"),
        (MADE + "417,hill,35,,\n417,lake,0.65,,\n", 3, "proportion", "65 %"),
        (MADE + "417,hill,100 %,,\n417,hill,100 %,,\n", 3, "sample", "repeats row 2"),
        (MADE + "417,hill,100 %,b,x\n882,hill,100 %,b,y\n", 3, "lot", "one lot roasted one way"),
        (MADE + "417,hill,100 %,b,\n882,lake,100 %,b,\n", 3, "component", "one roast of one"),
        ("sample,component\n417,hill\n", 1, "proportion", "add a column headed proportion"),
    ],
)
def test_samples(analyse, samples, row, column, remedy):
    status, line = analyse(RATINGS, samples)
    assert status == 2
    assert line.startswith("coupage analyse: samples.csv: ")
    assert f"row {row}, column '{column}" in line
    assert remedy in line


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (RATED.encode(), "no row below"),
        (b"PK\x03\x04damaged", "damaged"),
        (b"\x89PNG\r\n", "picture"),
        (RATED.encode() + b"a,t,417,body,\0\n", "NUL"),
    ],
)
def test_what_is_no_table(analyse, data, told):
    status, line = analyse(data)
    assert status == 2
    assert line.startswith("coupage analyse: ratings.csv: ")
    assert told in line


def test_a_file_of_200_megabytes_is_refused_unread(analyse, tmp_path):
    huge = tmp_path / "huge.csv"
    with huge.open("wb") as file:
        file.truncate(200 * 1024 * 1024)  # sparse: it takes no room
    status, line = analyse(huge)
    assert status == 2
    assert "huge.csv: file: is 200 MB" in line
    assert "split it" in line


def test_files_that_are_not_there(analyse, tmp_path):
    status, line = analyse(tmp_path / "none.csv")
    assert status == 2
    assert "there is no such file" in line
    status, line = analyse(tmp_path)
    assert "is a folder" in line
    status, line = analyse(RATINGS, SAMPLES, "--brief", str(tmp_path / "none.toml"))
    assert status == 2
    assert "none.toml: there is no such file" in line


def test_an_unreadable_file_is_told_with_the_reason(analyse, tmp_path, monkeypatch):
    def refuse(self):
        raise PermissionError(13, "Permission denied", str(self))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    status, line = analyse()
    assert status == 2
    assert "Permission denied" in line


def test_every_problem_can_be_listed(analyse):
    bad = RATED + "a,t,417,body,much\na,t,999,body,11\n"
    status, lines = analyse(bad, SAMPLES, "--every-problem")
    assert status == 2
    assert [line.split(": ")[1] for line in lines.splitlines()] == [
        "row 2, column 'rating'",
        "row 3, column 'rating'",
    ]
    _, line = analyse(bad)
    assert "(and 1 more)" in line


def test_unknown_names_in_options_are_told(analyse):
    _, line = analyse(RATINGS, SAMPLES, "--tolerance", "boddy=1")
    assert "boddy" in line
    assert "body" in line
    _, line = analyse(RATINGS, SAMPLES, "--reference", "999")
    assert "no sample '999'" in line


def test_the_executable_says_the_same_and_ends_with_2(tmp_path):
    bad = tmp_path / "r.csv"
    bad.write_text(RATED + "a,t,417,body,much\n")
    done = coupage("analyse", bad, SAMPLES, "--brief", BRIEF)
    assert done.returncode == 2
    assert done.stdout == ""
    assert done.stderr == (
        "coupage analyse: r.csv: row 2, column 'rating': 'much' is not a number; "
        "write it like 14.2 or 14,2\n"
    )
