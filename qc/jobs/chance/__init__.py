"""How likely a batch of a given mean and spread is to pass a test: what is asked, and the answer."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.rules.kinds import kind_of, mass
from qc.rules.kinds.mass.bands import band_for
from qc.rules.kinds.mass.record import MassBand, MassRule
from qc.rules.records import Rule
from qc.rules.rule_books import load_rule, rule_book, rule_ids
from qc.say.numbers import plain_limit

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

    from qc.stats.sample_plans import SamplePlan

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
    band: MassBand | None
    target_percent: float
    rounded: bool
    wanted: float
    confidence: float

    def plan(self) -> SamplePlan:
        """What the rule asks of a sample, in floats."""
        return kind_of(self.rule).plan(
            self.rule, band=self.band, target_percent=self.target_percent, rounded=self.rounded
        )


class Chance(Struct, frozen=True, kw_only=True, eq=False):
    """The chance of passing a test, for one mean and SD (floats) or many (arrays). Readable by attribute and by key.

    Parameters
    ----------
    test, rule : str
        Id of the test, and of the rule it is judged by.
    mean_percent, sd_percent : float or ndarray
        True mean and SD of the batch [% of label; for the tests about the own mean, % of the mean].
    pass_first_stage, pass_overall : float or ndarray
        Chances that a sample passes at the first stage, and in all [-].
    error_bound : float or ndarray
        `pass_overall` is not farther off than this [-].
    """

    test: str
    rule: str
    mean_percent: float | NDArray[np.float64]
    sd_percent: float | NDArray[np.float64]
    pass_first_stage: float | NDArray[np.float64]
    pass_overall: float | NDArray[np.float64]
    error_bound: float | NDArray[np.float64]

    def keys(self) -> list[str]:
        """The names of the parts, in the order of the document."""
        return [name for name in self.__struct_fields__ if name != "rule"]

    def __getitem__(self, name: str) -> str | float | NDArray[np.float64]:
        if name not in self.keys():
            raise KeyError(name)
        value: str | float | NDArray[np.float64] = getattr(self, name)
        return value

    def as_dict(self) -> dict[str, object]:
        """The document that other programs read: plain numbers, or lists of them."""
        figures = {name: self[name] for name in self.keys()}
        return {name: one if isinstance(one, str | float) else one.tolist() for name, one in figures.items()}


def chance(
    test: str,
    mean: ArrayLike,
    sd: ArrayLike,
    *,
    rule: str | Path | Rule | None = None,
    rounded: bool = False,
    form: str = USUAL_FORM,
    unit_mass_mg: float | None = None,
    target_percent: float = 100.0,
) -> Chance:
    """The chance that a batch with this true mean and spread, normally distributed, passes a test.

    Parameters
    ----------
    test : str
        `mass-uniformity`, `content-uniformity` or `dosage-unit-uniformity`.
    mean, sd : array_like
        True mean and SD of the units, broadcast against each other [% of label]. The mass and content tests compare
        with the sample's own mean: give the mean 100 and the RSD.
    rule : str, Path or rule record, optional
        A rule id, a house rule file, or a record; the usual rule of the test when left out.
    rounded : bool
        Whether the acceptance value is rounded as the rule is printed before it is compared.
    form : str
        Dosage form, for the table of a mass rule.
    unit_mass_mg : float, optional
        Mass of a unit, where the table of a mass rule depends on it [mg].
    target_percent : float
        Target content of the dosage-unit test, T [% of label].

    Returns
    -------
    Chance
        Floats for one mean and SD, arrays of the broadcast shape otherwise.

    Raises
    ------
    ValueError
        When the test or rule is not known, the rule is one of another test, or a mean or SD cannot be used.

    Examples
    --------
    >>> answer = chance("dosage-unit-uniformity", 100, 6)
    >>> round(answer.pass_first_stage, 4), round(answer.pass_overall, 4)
    (0.5772, 0.9718)
    >>> chance("mass-uniformity", 100, [3, 4]).pass_overall.round(3).tolist()
    [0.74, 0.197]
    """
    return answer(
        question(test, rule=rule, rounded=rounded, form=form, unit_mass_mg=unit_mass_mg, target_percent=target_percent),
        mean,
        sd,
    )


def answer(asked: Question, mean: ArrayLike, sd: ArrayLike) -> Chance:
    """The same for a question that was put before; `mean` and `sd` as for `chance` [% of label].

    Raises
    ------
    ValueError
        When a mean or SD cannot be used.
    """
    from qc.assurance.operating import plan_chances

    chances = plan_chances(mean, sd, plan=asked.plan())
    return Chance(
        test=asked.test,
        rule=asked.rule.id,
        mean_percent=_float_or_array(chances.mean_percent),
        sd_percent=_float_or_array(chances.sd_percent),
        pass_first_stage=_float_or_array(chances.first_stage),
        pass_overall=_float_or_array(chances.overall),
        error_bound=_float_or_array(chances.error_bound),
    )


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
            raise ValueError(
                f"a {name} of {plain_limit(share)} cannot be used; give a number between 0 and 1, for example 0.95"
            )
    record = rule_of(test, rule=rule)
    masses = mass.KIND.own(record)
    return Question(
        test=test,
        rule=record,
        band=None if masses is None else band_of(masses, form=form, unit_mass_mg=unit_mass_mg),
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
    fitting = [record for record in candidates if record.test == test and kind_of(record).chance]
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
            raise ValueError(f"{rule.id} has no limit for {form} of {plain_limit(unit_mass_mg)} mg")
        return band
    if len(rows) > 1:
        raise ValueError(f"the limit of {rule.id} for {form} depends on the mass of a unit; give it in mg")
    return rows[0]


def _float_or_array(values: NDArray[np.float64]) -> float | NDArray[np.float64]:
    return float(values) if values.ndim == 0 else values
