"""The design that was wished for, as text, data and a table of samples."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np

from coupage.cli.briefs import read_brief
from coupage.cli.design_file import Decision, Wish
from coupage.cli.files import read_bytes
from coupage.cli.tables import read_tables
from coupage.errors import FileError, FileProblem, InputError
from coupage.mixture import (
    Aim,
    Doubt,
    Group,
    Region,
    Trials,
    assess,
    choose_trials,
    distinct,
    with_repeats,
)
from coupage.mixture.candidates import candidates
from coupage.panel import fit
from coupage.recipe import doubt_of_beliefs
from coupage.sheets import read_table, samples_layout, write_csv
from coupage.units import show_share, whole_shares

__all__ = ["Design", "design"]


@dataclass(frozen=True, slots=True)
class Design:
    """A wish and the trials that answer it; ``left_out`` names kept samples that do not fit."""

    wish: Wish
    trials: Trials
    left_out: tuple[str, ...]

    def rows(self) -> list[dict[str, Any]]:
        """Return every sample: number, whether new, what it repeats, its shares as fractions."""
        trials = self.trials
        found = []
        for i, point in enumerate(trials.points):
            repeat = int(trials.repeat_of[i])
            found.append(
                {
                    "sample": i + 1,
                    "new": bool(trials.new[i]),
                    "repeats": None if repeat < 0 else repeat + 1,
                    "reference": i == trials.reference,
                    "shares": {
                        name: ppm / 1e6
                        for name, ppm in zip(
                            trials.region.names, whole_shares(point.tolist()), strict=True
                        )
                        if ppm
                    },
                }
            )
        return found

    def data(self) -> dict[str, Any]:
        """Return everything as plain data."""
        trials, wish = self.trials, self.wish
        return {
            "coffees": list(trials.region.names),
            "limits": trials.region.limits(),
            "criterion": wish.criterion,
            "order": wish.order,
            "step": wish.step,
            "seed": wish.seed,
            "samples": self.rows(),
            "d_efficiency": trials.d_efficiency,
            "mean_variance": trials.mean_variance if np.isfinite(trials.mean_variance) else None,
            "kept_left_out": list(self.left_out),
        }

    def csv(self) -> str:
        """Return the new samples in the columns of samples.csv, in long form."""
        rows = [
            {"sample": f"T{row['sample']}", "component": name, "proportion": Decimal(str(share))}
            for row in self.rows()
            if row["new"]
            for name, share in row["shares"].items()
        ]
        return write_csv(samples_layout(), rows).decode("utf-8-sig")

    def text(self) -> str:
        """Return what a roaster reads."""
        rows = self.rows()
        new = [row for row in rows if row["new"]]
        blends = len({tuple(row["shares"].items()) for row in new})
        lines = [f"Cup these {len(new)} samples: {blends} different blends.", ""]
        names = self.trials.region.names
        width = [max(len(name), 7) for name in names]
        head = "  ".join(name.rjust(w) for name, w in zip(names, width, strict=True))
        lines.append(f"sample  {head}")
        for row in rows:
            cells = (
                (show_share(round(row["shares"][n] * 1e6)) if n in row["shares"] else "-").rjust(w)
                for n, w in zip(names, width, strict=True)
            )
            lines.append(f"{row['sample']:>6}  {'  '.join(cells)}{_mark(row)}")
        lines += ["", *self._worth()]
        return "\n".join(lines) + "\n"

    def _worth(self) -> list[str]:
        trials, said = self.trials, []
        limits = trials.region.limits()
        if self.wish.decision is not None:
            said.append(
                "These tell most about which recipe serves the brief, given what was cupped; doubt "
                f"left about a recipe's worth to it: {trials.value:.3f} (an sd; worth runs 0 to 1)."
            )
        if limits:
            said.append(f"Limits: {'; '.join(limits)}.")
        if np.isfinite(trials.mean_variance):
            said.append(
                "Average variance of what is predicted, times samples: "
                f"{trials.mean_variance:.3f}; D-efficiency: {trials.d_efficiency:.4f}."
            )
        if self.left_out:
            said.append(
                f"Kept samples with other coffees were left out: {', '.join(self.left_out)}."
            )
        said.append(
            "Weigh the components into each cup; a cup scooped from a mixed lot is not the blend."
        )
        return said


def design(wish: Wish) -> Design:
    """Choose the blends.

    Raises
    ------
    InputError
        When limits clash, a file is wrong, or the numbers do not fit each other.
    """
    names = list(wish.coffees)
    region = Region(
        names,
        [low or 0.0 for low, _ in wish.coffees.values()],
        [1.0 if high is None else high for _, high in wish.coffees.values()],
        [
            Group(
                dict.fromkeys(group.coffees, 1.0),
                -np.inf if group.low is None else group.low,
                np.inf if group.high is None else group.high,
                name=group.name,
            )
            for group in wish.together
        ],
        exclusive=wish.one_of,
    )
    if wish.decision is not None:
        return Design(wish, _for_decision(wish, wish.decision, region), ())
    kept, left_out = _kept(wish.keep, names) if wish.keep is not None else ([], ())
    trials = choose_trials(
        region,
        wish.samples + len(kept),
        wish.order,  # type: ignore[arg-type]
        "I" if wish.criterion == "everywhere" else "D",
        keep=kept or None,
        step=wish.step,
        rng=np.random.default_rng(wish.seed),
        repeats=wish.repeats,
        reference=_reference(wish),
    )
    return Design(wish, trials, left_out)


def _reference(wish: Wish) -> list[float] | None:
    return [wish.reference.get(name, 0.0) for name in wish.coffees] if wish.reference else None


def _for_decision(wish: Wish, decision: Decision, region: Region) -> Trials:
    """Choose what tells most about the choice of a recipe, with repeats as many as asked for."""
    doubt, order = _doubt(wish, decision, region), wish.order
    rng, reference = np.random.default_rng(wish.seed), _reference(wish)
    found = choose_trials(
        region,
        wish.samples - wish.repeats,
        order,  # type: ignore[arg-type]
        "decision",
        step=wish.step,
        rng=rng,
        reference=reference,
        doubt=doubt,
    )
    aim = Aim.of(doubt, order)  # type: ignore[arg-type]
    fixed = () if found.reference is None else (found.reference,)
    points = distinct(found.points, candidates(region, wish.step, rng), aim, fixed=fixed)
    return assess(
        region,
        with_repeats(points, wish.repeats, aim),
        order,  # type: ignore[arg-type]
        "decision",
        reference=found.reference,
        doubt=doubt,
    )


def _doubt(wish: Wish, decision: Decision, region: Region) -> Doubt:
    """Fit the panel to what was cupped, and say what the choice for the brief hinges on."""
    tables = read_tables(decision.ratings, decision.cupped)
    file = read_brief(read_bytes(decision.brief), Path(decision.brief).name)
    file.check_against(tables.attributes, tables.components)
    unknown = [name for name in region.names if name not in tables.components]
    beliefs = fit(tables.ratings, tables.samples, seed=wish.seed, extra_components=unknown)
    return doubt_of_beliefs(
        file.brief,
        beliefs,
        region,
        step=wish.step,
        tasters=decision.tasters,
        cups=decision.cups,
        order=wish.order,  # type: ignore[arg-type]
    )


def _kept(path: str, names: list[str]) -> tuple[list[list[float]], tuple[str, ...]]:
    """Blends of these coffees alone, and the names of samples that hold others."""
    filename = Path(path).name
    table = read_table(read_bytes(path), filename, samples_layout())
    made_of: dict[str, Counter[str]] = {}
    for row in table.rows:
        blend = made_of.setdefault(str(row["sample"]), Counter())
        blend[str(row["component"])] += round(float(row["proportion"]) * 1e6)  # type: ignore[arg-type]
    kept, left_out = [], []
    for sample, blend in made_of.items():
        total = sum(blend.values())
        if abs(total - 1_000_000) > 1:
            problem = f"the proportions of {sample!r} add up to {total / 1e4:g} %, not 100 %"
            raise FileError(filename, [FileProblem(0, "proportion", problem)])
        if set(blend) <= set(names):
            kept.append([blend[name] / total for name in names])
        else:
            left_out.append(sample)
    if not kept:
        raise InputError(
            f"keep: no sample of {filename} is made of these coffees alone "
            f"({', '.join(names)}); check the names, or leave --keep out"
        )
    return kept, tuple(left_out)


def _mark(row: dict[str, Any]) -> str:
    if not row["new"]:
        return "  cupped already"
    if row["reference"]:
        return "  reference"
    return f"  again {row['repeats']}" if row["repeats"] else ""
