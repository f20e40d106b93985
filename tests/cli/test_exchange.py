"""Tables of an installation in and out, through the real executable."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pandas as pd
import pytest
from tests.cli.doors import coupage

TABLES = ["lots", "stock", "approaches", "machines", "batches"]


def ask(home: Path, query: str) -> list[tuple]:
    with closing(sqlite3.connect(home / "coupage.sqlite3")) as open_:
        return open_.execute(query).fetchall()


def test_every_table_is_named_with_its_columns(furnished):
    listed = coupage("import", "--list", data=furnished).stdout.splitlines()
    assert set(TABLES) <= {line.split(":")[0] for line in listed if not line.startswith(" ")}
    assert any(line.startswith("  landed price (number") for line in listed)


@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_a_table_goes_out_whole_and_another_library_reads_it(furnished, tmp_path, ending):
    file = tmp_path / f"batches.{ending}"
    done = coupage("export", "batches", file, data=furnished)
    assert (done.returncode, done.stderr) == (0, "")
    frame = pd.read_csv(file) if ending == "csv" else pd.read_excel(file)
    kept = ask(
        furnished,
        "SELECT SUM(green_g), SUM(roasted_g), COUNT(*) FROM batches_batch WHERE NOT void",
    )[0]
    assert round(frame["green in"].sum() * 1000) == kept[0]
    assert round(frame["roasted out"].sum() * 1000) == kept[1]
    assert len(frame) == kept[2]


@pytest.mark.parametrize(("table", "ending"), [("lots", "xlsx"), ("approaches", "csv")])
def test_what_went_out_comes_in_again_as_no_change(furnished, tmp_path, table, ending):
    file = tmp_path / f"{table}.{ending}"
    assert coupage("export", table, file, data=furnished).returncode == 0
    dry = coupage("import", table, file, "--dry-run", data=furnished)
    assert (dry.returncode, dry.stderr) == (0, "")
    counts = [int(line.split()[0]) for line in dry.stdout.splitlines()[:-1]]
    assert set(counts) == {0}, dry.stdout


def test_a_clean_file_waits_for_the_word_and_is_then_all_there(home, tmp_path):
    file = tmp_path / "new lots.csv"
    file.write_bytes(
        "lot;origin;process;landed price;on hand\r\nAmberhall;Kenya;washed;7,25;60\r\n"
        "Bréton;Burundi;natural;8,1;30,5\r\n".encode("cp1252")
    )
    dry = coupage("import", "lots", file, "--dry-run", data=home)
    assert (dry.returncode, dry.stderr) == (0, "")
    assert "2 new lots" in dry.stdout
    assert not ask(home, "SELECT 1 FROM coffees_lot WHERE name = 'Amberhall'")
    owner = ask(home, "SELECT sign_in FROM people_person WHERE role = 'owner'")[0][0]
    done = coupage("import", "lots", file, "--as", owner, data=home)
    assert (done.returncode, done.stderr) == (0, "")
    assert ask(
        home,
        "SELECT l.name, l.price_per_kg, SUM(s.mass_g) FROM coffees_lot l "
        "JOIN coffees_stockentry s ON s.lot_id = l.id WHERE l.origin IN ('Kenya', 'Burundi') "
        "AND l.name IN ('Amberhall', 'Bréton') GROUP BY l.id ORDER BY l.name",
    ) == [("Amberhall", 7.25, 60_000), ("Bréton", 8.1, 30_500)]
    by = ask(
        home,
        "SELECT DISTINCT p.sign_in FROM people_change c JOIN people_person p ON p.id = c.by_id "
        "ORDER BY c.id DESC LIMIT 1",
    )
    assert by == [(owner,)]


def test_every_bad_row_is_listed_and_nothing_is_written(home, tmp_path):
    before = ask(home, "SELECT COUNT(*) FROM coffees_lot")
    file = tmp_path / "lots.csv"
    file.write_text(
        "lot,origin,process,landed price\nGood,Kenya,washed,7\nBad,Kenya,wshed,7\n"
        "Worse,,washed,cheap\nGood,Kenya,washed,8\n"
    )
    done = coupage("import", "lots", file, data=home)
    assert done.returncode == 2
    assert done.stdout == ""
    lines = done.stderr.splitlines()
    assert lines[-1] == "lots.csv: nothing was written"
    assert [line.split(": ")[1] for line in lines[:-1]] == [
        "row 3, column 'process'",
        "row 4, column 'origin'",
        "row 4, column 'landed price'",
        "row 5, column 'lot'",
    ]
    assert "did you mean 'washed'" in lines[0]
    assert ask(home, "SELECT COUNT(*) FROM coffees_lot") == before


def test_what_the_database_knows_better_is_told_by_row(home, tmp_path):
    file = tmp_path / "batches.csv"
    assert coupage("export", "batches", file, data=home).returncode == 0
    done = coupage("import", "batches", file, data=home)
    assert done.returncode == 2
    assert "batches.csv: row 2, column 'batch': " in done.stderr


def test_somebody_must_answer_for_it(home, tmp_path):
    file = tmp_path / "lots.csv"
    file.write_text("lot,origin,process\nGood,Kenya,washed\n")
    assert "nobody signs in as" in coupage("import", "lots", file, "--as", "x", data=home).stderr
    viewer = ask(home, "SELECT sign_in FROM people_person WHERE role IN ('viewer', 'taster')")[0][0]
    refused = coupage("import", "lots", file, "--as", viewer, data=home)
    assert refused.returncode == 2
    assert "may not change things" in refused.stderr
    assert not ask(home, "SELECT 1 FROM coffees_lot WHERE name = 'Good'")


def test_wrong_names_are_told(furnished, tmp_path):
    there = tmp_path / "there.csv"
    there.write_text("lot\na\n")
    for arguments, told in (
        (["export", "lot", tmp_path / "x.csv"], "did you mean lots?"),
        (["import", "lot", there], "did you mean lots?"),
        (["export", "lots", tmp_path / "x.ods"], "must end in .csv or .xlsx"),
        (["export", "lots", there], "--replace"),
        (["export", "lots"], "--list"),
        (["import", "lots", tmp_path / "none.csv"], "no such file"),
    ):
        done = coupage(*arguments, data=furnished)
        assert done.returncode == 2
        assert told in done.stderr
        assert done.stderr.count("\n") == 1
    assert there.read_text() == "lot\na\n"
