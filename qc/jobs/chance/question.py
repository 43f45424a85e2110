"""What is asked about a chance of passing: the test, the rule it is judged by, and what that rule needs to know."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from msgspec import Struct

from qc.rules.kinds.mass.bands import band_for
from qc.rules.kinds.mass.record import MassBand, MassRule
from qc.rules.kinds.mean_mass import MeanMassRule
from qc.rules.records import Rule
from qc.rules.rule_books import load_rule, rule_book, rule_ids

USUAL_RULE = {
    "mass-uniformity": "ph-eur-2.9.5",
    "content-uniformity": "ph-eur-2.9.6-b",
    "dosage-unit-uniformity": "harmonised-udu",
}
"""The rule that is meant when only the test is named."""

USUAL_FORM = "suppositories"


class Question(Struct, frozen=True, kw_only=True):
    """A test with all that its chance depends on, the mean and spread of the batch apart.

    Parameters
    ----------
    test : str
        `mass-uniformity`, `content-uniformity` or `dosage-unit-uniformity`.
    rule : Rule
        The record of the rule.
    band : MassBand, optional
        The row of the table of a mass rule.
    target_percent : float
        Target content of the dosage-unit test, T [% of label].
    rounded : bool
        Whether the acceptance value is rounded as the rule is printed before it is compared.
    wanted, confidence : float
        Chance of passing that a plan is for, and the confidence with which units tested are to assure it [-].
    """

    test: str
    rule: Rule
    band: MassBand | None = None
    target_percent: float = 100.0
    rounded: bool = False
    wanted: float = 0.95
    confidence: float = 0.95


def question(
    test: str,
    *,
    rule: str | Path | Rule | None = None,
    form: str = USUAL_FORM,
    unit_mass_mg: float | None = None,
    target_percent: float = 100.0,
    rounded: bool = False,
    wanted: float = 0.95,
    confidence: float = 0.95,
) -> Question:
    """The question about a test, with the record of its rule and the row of its table looked up.

    Parameters
    ----------
    test, target_percent, rounded, wanted, confidence
        As for `Question`.
    rule : str, Path or rule record, optional
        A rule id, a house rule file, or a record; the usual rule of the test when left out.
    form : str
        Dosage form, for the table of a mass rule.
    unit_mass_mg : float, optional
        Mass of a unit, where the table of a mass rule depends on it [mg].

    Returns
    -------
    Question

    Raises
    ------
    ValueError
        When the test or rule is not known, the rule is one of another test, or a share is not between 0 and 1.
    """
    for name, share in (("chance", wanted), ("confidence", confidence)):
        if not 0.0 < share < 1.0:
            raise ValueError(f"a {name} of {share:g} cannot be used; give a number between 0 and 1, for example 0.95")
    record = rule_of(test, rule=rule)
    return Question(
        test=test,
        rule=record,
        band=band_of(record, form=form, unit_mass_mg=unit_mass_mg) if isinstance(record, MassRule) else None,
        target_percent=target_percent,
        rounded=rounded,
        wanted=wanted,
        confidence=confidence,
    )


def rule_of(test: str, *, rule: str | Path | Rule | None = None) -> Rule:
    """The rule record that a test is asked about.

    Raises
    ------
    ValueError
        When the test is not known, or the rule is one of another test.

    Examples
    --------
    >>> rule_of("content-uniformity").id
    'ph-eur-2.9.6-b'
    """
    if test not in USUAL_RULE:
        raise ValueError(f'"{test}" is no test with a chance of passing; name one of {", ".join(USUAL_RULE)}')
    if rule is None:
        return load_rule(USUAL_RULE[test])
    if isinstance(rule, (str, Path)):
        candidates: list[Rule] = (
            [load_rule(str(rule))] if str(rule) in rule_ids() else list(rule_book(rule).rules.values())
        )
    else:
        candidates = [rule]
    fitting = [record for record in candidates if record.test == test and not isinstance(record, MeanMassRule)]
    if not fitting:
        tests = ", ".join(dict.fromkeys(record.test for record in candidates))
        name = rule if isinstance(rule, (str, Path)) else rule.id
        raise ValueError(f"the rule {name} is for {tests}, not for {test}; name a rule of {test}")
    # A house file may ask for rules of the books beside its own: its own is meant.
    return next((record for record in fitting if record.builds_on), fitting[0])


def band_of(rule: MassRule, *, form: str, unit_mass_mg: float | None) -> MassBand:
    """The row of a mass table that holds for a form, asking for the mass of a unit only where the table needs it.

    Raises
    ------
    ValueError
        When the table has no row for the form, or several and no mass is given.
    """
    rows = [band for band in rule.bands if form in band.forms]
    if not rows:
        forms = ", ".join(dict.fromkeys(name for band in rule.bands for name in band.forms))
        raise ValueError(f"{rule.id} has no limit for {form}; it has limits for {forms}")
    if unit_mass_mg is not None:
        band = band_for(rule, form=form, mean_mg=Fraction(str(unit_mass_mg)))
        if band is None:
            raise ValueError(f"{rule.id} has no limit for {form} of {unit_mass_mg:g} mg")
        return band
    if len(rows) > 1:
        raise ValueError(f"the limit of {rule.id} for {form} depends on the mass of a unit; give it in mg")
    return rows[0]
