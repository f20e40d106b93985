"""Make the example files: ratings drawn from a known truth, so that tests can ask for it back.

Run it from the root of the repository: ``python examples/generate.py``. All names are invented.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
ATTRIBUTES = ("sweetness", "acidity", "body", "bitterness")
# Mean intensity of each coffee, attributes in the order above.
COFFEES = {
    "Orvalhal natural": (6.0, 3.2, 6.2, 4.6),
    "Kiruvi washed": (5.6, 7.2, 3.6, 2.8),
    "Sidangin wet-hulled": (4.4, 3.6, 7.0, 5.4),
}
# Departure from linear blending, the coefficient of the product of two shares.
PAIRINGS = {("Orvalhal natural", "Kiruvi washed"): (2.4, 0.0, 0.0, -1.6)}
# Sample: shares, batch of each coffee, days since roasting.
SAMPLES = {
    "417": ({"Orvalhal natural": 1.0}, ("O-12",), 8),
    "882": ({"Kiruvi washed": 1.0}, ("K-31",), 9),
    "159": ({"Kiruvi washed": 1.0}, ("K-34",), 7),
    "246": ({"Sidangin wet-hulled": 1.0}, ("S-07",), 8),
    "593": ({"Orvalhal natural": 0.55, "Kiruvi washed": 0.45}, ("O-12", "K-31"), 8),
    "730": ({"Orvalhal natural": 0.65, "Sidangin wet-hulled": 0.35}, ("O-12", "S-07"), 8),
    "365": (
        {"Orvalhal natural": 0.45, "Kiruvi washed": 0.35, "Sidangin wet-hulled": 0.2},
        ("O-12", "K-34", "S-07"),
        8,
    ),
}
BATCH_SD, CUPPING_SD, AGE_SLOPE = 0.15, 0.2, -0.01
# Bias and noise of each taster, in points.
TASTERS = {"Ana": (0.3, 0.5), "Bo": (-0.5, 0.6), "Cleo": (0.1, 0.7), "Dag": (0.2, 1.6)}
CUPPINGS = ("3 March", "10 March")
PASSES = ("hot", "cool")


def truth(shares: dict[str, float]) -> np.ndarray:
    """Mean intensity of a recipe, one value per attribute."""
    linear = sum(share * np.array(COFFEES[name]) for name, share in shares.items())
    pairs = sum(
        shares.get(a, 0.0) * shares.get(b, 0.0) * np.array(gamma)
        for (a, b), gamma in PAIRINGS.items()
    )
    return np.asarray(linear + pairs)


def ratings(seed: int = 20) -> list[dict[str, object]]:
    rng = np.random.default_rng(seed)
    batches = {batch for _, names, _ in SAMPLES.values() for batch in names}
    drift = {batch: rng.normal(0, BATCH_SD, len(ATTRIBUTES)) for batch in sorted(batches)}
    days = {name: rng.normal(0, CUPPING_SD, len(ATTRIBUTES)) for name in CUPPINGS}
    rows = []
    for cupping in CUPPINGS:
        for taster, (bias, noise) in TASTERS.items():
            for sample, (shares, names, age) in SAMPLES.items():
                for cup, tasted in enumerate(PASSES, start=1):
                    mean = truth(shares) + AGE_SLOPE * (age - 7) + days[cupping] + bias
                    for share, batch in zip(shares.values(), names, strict=True):
                        mean = mean + share * drift[batch]
                    given = np.clip(np.round(2 * rng.normal(mean, noise)) / 2, 0, 10)
                    rows.append(
                        {"cupping": cupping, "taster": taster, "sample": sample, "cup": cup}
                        | {"pass": tasted}
                        | dict(zip(ATTRIBUTES, given.tolist(), strict=True))
                    )
    return rows


def write() -> None:
    wide = ratings()
    place = ["cupping", "taster", "sample", "cup", "pass"]
    with (HERE / "ratings.csv").open("w", newline="", encoding="utf-8") as file:
        long = csv.writer(file)
        long.writerow([*place, "attribute", "rating"])
        for row in wide:
            for name in ATTRIBUTES:
                long.writerow([*(row[key] for key in place), name, f"{row[name]:g}"])
    with (HERE / "ratings-wide.csv").open("w", newline="", encoding="cp1252") as file:
        sheet = csv.writer(file, delimiter=";")
        sheet.writerow(["Cupping", "Taster", "Code", "Cup", "Pass", *ATTRIBUTES, "Notes"])
        for row in wide:
            cells = [f"{row[name]:g}".replace(".", ",") for name in ATTRIBUTES]
            sheet.writerow([*(row[key] for key in place), *cells, ""])
    with (HERE / "samples.csv").open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file)
        table.writerow(["sample", "component", "proportion", "batch", "age_days"])
        for sample, (shares, names, age) in SAMPLES.items():
            for (coffee, share), batch in zip(shares.items(), names, strict=True):
                table.writerow([sample, coffee, f"{share:.0%}", batch, age])


if __name__ == "__main__":
    write()
