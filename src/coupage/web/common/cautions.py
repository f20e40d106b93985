"""Cautions shown where the work can hurt someone: one wording, one source line each.

Numbers are quoted from the named publications; a caution never replaces the local code, the
machine maker's instructions or licensed or occupational-health advice, and says so.
"""

from __future__ import annotations

from dataclasses import dataclass

from coupage.errors import InputError

__all__ = ["CAUTIONS", "DEFERRAL", "Caution", "caution"]

DEFERRAL = (
    "Follow local codes, the machine maker's instructions and licensed or occupational-health "
    "advice; they come before anything written here."
)


@dataclass(frozen=True, slots=True)
class Caution:
    """What can happen, what to do, and who says so."""

    title: str
    text: str
    source: str


CAUTIONS: dict[str, Caution] = {
    "gas": Caution(
        "Roasted coffee gives off carbon monoxide",
        "Most of it leaves when coffee is ground or stored in bulk. Ventilate, fit a carbon "
        "monoxide alarm, and keep everybody's head and body out of bins and silos.",
        "NIOSH Pocket Guide: limit 35 ppm, ceiling 200 ppm, danger to life 1200 ppm; "
        "OSHA 29 CFR 1910.1000: 50 ppm over eight hours",
    ),
    "diacetyl": Caution(
        "Grinding and flavouring give off diacetyl",
        "Diacetyl and 2,3-pentanedione can harm the lungs. Draw the air off where coffee is "
        "ground or flavoured.",
        "NIOSH Publication 2016-111: limits 5 ppb and 9.3 ppb over eight hours",
    ),
    "fire": Caution(
        "Roasters and chaff catch fire",
        "Clean the chaff collector and the ducts, never leave a batch alone, and know the "
        "maker's steps for quenching before the first batch of the day.",
        "NFPA 660 (combustible dusts); common practice",
    ),
    "scald": Caution(
        "Water near boiling scalds, and very hot coffee harms",
        "Pour with a steady stand under the kettle. Let cups cool below 65 °C before anyone "
        "tastes.",
        "IARC Monograph 116 (2016) on drinks above 65 °C",
    ),
    "caffeine": Caution(
        "Many small sips add up",
        "Spit, and keep a tally. 400 mg of caffeine in a day and 200 mg at once raise no concern "
        "for healthy adults; in pregnancy it is 200 mg in a day.",
        "EFSA Journal 2015;13(5):4102",
    ),
    "hygiene": Caution(
        "One table, many mouths",
        "Everyone has a spoon and a glass of their own and rinses between cups. Whoever feels "
        "ill stays away from the table.",
        "common practice",
    ),
    "packing": Caution(
        "Bags are food",
        "Clean hands, closed hair, clean scoops; whoever feels ill does not pack. Keep milk, nuts, "
        "soy and flavourings away from bins, scoops and bags.",
        "Codex Alimentarius CXC 1-1969, personal hygiene; Regulation (EU) 1169/2011, Annex II",
    ),
    "allergens": Caution(
        "Milk, nuts and soy are allergens",
        "Say so before tasting with milk or plant drinks, and keep their jugs and spoons apart. "
        "Plain coffee is not on the list.",
        "Regulation (EU) 1169/2011, Annex II",
    ),
    "lifting": Caution(
        "A bag of green coffee weighs 60 to 70 kg",
        "Use a trolley or lift with two people; empty bags by the scoop, not over the shoulder.",
        "bag weights as traded; common practice",
    ),
}


def caution(key: str) -> Caution:
    """Return a caution by its key.

    Raises
    ------
    InputError
        When there is no such caution.
    """
    if key not in CAUTIONS:
        raise InputError(f"caution: there is no {key!r}; use one of {', '.join(CAUTIONS)}")
    return CAUTIONS[key]
