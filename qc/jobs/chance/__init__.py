"""How likely a batch of a given mean and spread is to pass a test: the whole job, for Python and for the command."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.jobs.chance.question import USUAL_FORM, Question, question
from qc.rules.records import Rule

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

_KEYS = ("test", "mean_percent", "sd_percent", "pass_first_stage", "pass_overall", "error_bound")


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
        return list(_KEYS)

    def __getitem__(self, name: str) -> str | float | NDArray[np.float64]:
        if name not in _KEYS:
            raise KeyError(name)
        value: str | float | NDArray[np.float64] = getattr(self, name)
        return value

    def as_dict(self) -> dict[str, object]:
        """The document that other programs read: plain numbers, or lists of them."""
        return {name: _plain(self[name]) for name in _KEYS}


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
    from qc.assurance.operating import pass_chances

    chances = pass_chances(
        mean, sd, rule=asked.rule, band=asked.band, target_percent=asked.target_percent, rounded=asked.rounded
    )
    return Chance(
        test=asked.test,
        rule=asked.rule.id,
        mean_percent=_float_or_array(chances.mean_percent),
        sd_percent=_float_or_array(chances.sd_percent),
        pass_first_stage=_float_or_array(chances.first_stage),
        pass_overall=_float_or_array(chances.overall),
        error_bound=_float_or_array(chances.error_bound),
    )


def _float_or_array(values: NDArray[np.float64]) -> float | NDArray[np.float64]:
    return float(values) if values.ndim == 0 else values


def _plain(value: str | float | NDArray[np.float64]) -> object:
    return value if isinstance(value, (str, float)) else value.tolist()
