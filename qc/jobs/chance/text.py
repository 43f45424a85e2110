"""The chance in words, for a terminal of 80 columns."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from qc.jobs.chance import Chance
from qc.jobs.chance.plan import ChancePlan
from qc.say.names import TEST
from qc.say.numbers import probability

if TYPE_CHECKING:
    from qc.assurance.planning import AcceptanceLimits

_WIDTH = 80


def chance_text(answer: Chance, *, plan: ChancePlan | None = None) -> str:
    """The chance of passing, and the plan where there is one, as lines of 80 columns at most.

    Parameters
    ----------
    answer : Chance
        For one mean and SD.
    plan : ChancePlan, optional
        For the same mean and SD.

    Returns
    -------
    str
        Ends without a line break.

    Raises
    ------
    ValueError
        When the answer is for more than one mean and SD.

    Examples
    --------
    >>> from qc.jobs.chance import chance
    >>> print(chance_text(chance("dosage-unit-uniformity", 97, 5)))
    Uniformity of dosage units (rule harmonised-udu)
    A batch of true mean 97 % of label and true SD 5 % of label
    <BLANKLINE>
      passes at the first stage   71.43 %
      passes in all               98.89 %
    <BLANKLINE>
    For units that are normally distributed and drawn at random. The chance is
    worked out without random numbers; its error is at most 0.00051 percentage
    points.
    """
    figures = (answer.mean_percent, answer.sd_percent, answer.pass_first_stage, answer.pass_overall, answer.error_bound)
    if not all(isinstance(figure, float) for figure in figures):
        raise ValueError("chances in words are for one mean and one SD")
    mean, sd, first, overall, error = (float(figure) for figure in figures)
    lines = [
        f"{TEST[answer.test]} (rule {answer.rule})",
        f"A batch of {_batch(answer.test, mean, sd)}",
        "",
        f"  passes at the first stage   {probability(first, decimals=2)}",
        f"  passes in all               {probability(overall, decimals=2)}",
        "",
        *_wrapped(
            "For units that are normally distributed and drawn at random. The chance is worked out without random "
            f"numbers; its error is at most {_up(error * 100)} percentage points."
        ),
    ]
    if plan is not None:
        lines += ["", *_plan_lines(plan, test=answer.test, mean=mean, sd=sd)]
    return "\n".join(lines)


def _batch(test: str, mean: float, sd: float) -> str:
    """Mean and spread in the terms of the test: the tests about the own mean know the RSD alone."""
    if test == "dosage-unit-uniformity":
        return f"true mean {mean:g} % of label and true SD {sd:g} % of label"
    return f"true RSD {sd / mean * 100:g} %"


def _plan_lines(plan: ChancePlan, *, test: str, mean: float, sd: float) -> list[str]:
    wanted, sure = f"{plan.wanted * 100:g} %", f"{plan.confidence * 100:g} %"
    spread = "SD" if test == "dosage-unit-uniformity" else "RSD"
    at_mean = f"At a mean of {mean:g} % of label a batch" if spread == "SD" else "A batch"
    lines = _wrapped(
        f"{at_mean} passes with a chance of {wanted} up to a true {spread} of {plan.greatest_sd_percent:.2f} %, is as "
        f"likely to pass as not at {plan.even_sd_percent:.2f} %, and passes with a chance of 5 % or less from "
        f"{plan.poor_sd_percent:.2f} % on."
    )
    if plan.greatest_sample_sd_percent is not None:
        shown = f"that show a mean of {mean:g} % and an SD of {sd:g} %"
        needed = (
            f"takes {plan.units_needed} units {shown}"
            if plan.units_needed is not None
            else f"not even a thousand units {shown} would do"
        )
        enough = (
            f"{plan.first_size} units of that mean do where their SD is "
            f"{_floor(plan.greatest_sample_sd_percent)} % or less"
            if plan.greatest_sample_sd_percent > 0.0
            else f"no {plan.first_size} units of that mean do"
        )
        subject = "it " if plan.units_needed is not None else ""
        lines += [
            "",
            *_wrapped(f"To assure a chance of {wanted} with {sure} confidence, {subject}{needed}; {enough}."),
        ]
    lines += [
        "",
        "What the size of a single sample costs, the limits being kept:",
        "  units   sound batch refused   poor batch passed",
        *(_cost_line(cost.n, cost.sound_refused, cost.poor_passed) for cost in plan.samples),
        *_wrapped(
            f"Sound: {spread} {plan.greatest_sd_percent:.2f} %. Poor: {spread} {plan.poor_sd_percent:.2f} %. "
            f"The rule's first stage has {plan.first_size} units; no other size is its test."
        ),
    ]
    return lines


def _cost_line(units: int, *chances: float) -> str:
    refused, passed = (probability(one, decimals=2) for one in chances)
    return f"  {units:5d}   {refused:>19}   {passed:>17}"


def limits_text(table: AcceptanceLimits) -> str:
    """A table of acceptance limits: the greatest SD a sample may show, by its mean and number of units.

    Parameters
    ----------
    table : AcceptanceLimits
        Of at most eight numbers of units, to keep within 80 columns.

    Returns
    -------
    str
        Ends without a line break.
    """
    head = _wrapped(
        f"Greatest SD (% of label) that the tested units may show to assure, with {table.confidence * 100:g} % "
        f"confidence, that another sample passes with a chance of at least {table.wanted * 100:g} %."
    )
    columns = "    mean" + "".join(f"{f'n {n}':>8}" for n in table.numbers)
    rows = [
        f"{mean:8.1f}" + "".join(f"{_floor(sd):>8}" for sd in row)
        for mean, row in zip(table.means_percent, table.greatest_sd_percent, strict=True)
    ]
    return "\n".join([*head, "", columns, *rows])


def _floor(sd: float) -> str:
    """An SD rounded down, so that the figure printed is itself allowed; a dash where none is."""
    return f"{int(sd * 100 + 1e-6) / 100:.2f}" if sd > 0.0 else "-"


def _up(percent: float) -> str:
    """Rounded up to two digits, so that "at most" stays true."""
    places = max(1 - math.floor(math.log10(percent)), 0)
    return f"{math.ceil(percent * 10**places - 1e-9) / 10**places:.{places}f}"


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, _WIDTH)
