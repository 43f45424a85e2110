"""The chance of passing in pieces: lines of a terminal of 80 columns, and the page of `qc chance --report`."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from qc.jobs.chance import Chance, Question
from qc.jobs.chance.plan import ChancePlan
from qc.say.names import TEST
from qc.say.numbers import NOTHING, fixed, plain_limit, probability
from qc.show.chances import CHANCE, chance_page
from qc.show.filing import file_whole
from qc.show.pages_text import text_page
from qc.show.pieces import Piece, Prose, Table, column, number, table

if TYPE_CHECKING:
    from qc.assurance.planning import AcceptanceLimits

REACH_OF_SD = 1.3
"""The pictures reach past the SD of a batch that is nearly sure to fail by this factor."""


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
    <BLANKLINE>
    Of 100 samples from such a batch about 71 pass at the first stage, and about 99
    once a second stage is tested where it is due.
    <BLANKLINE>
    A batch of true mean 97 % of label and true SD 5 % of label
      Passes                Chance
      at the first stage   71.43 %
      in all               98.89 %
    <BLANKLINE>
    For units that are normally distributed and drawn at random. The chance is
    calculated without random numbers; its error is at most 0.00051 percentage
    points.
    """
    return text_page((Prose(text=title(answer)), *chance_pieces(answer, plan=plan)))


def title(answer: Chance) -> str:
    """Which test was asked about, by which rule."""
    return f"{TEST[answer.test]} (rule {answer.rule})"


def chance_pieces(answer: Chance, *, plan: ChancePlan | None) -> tuple[Piece, ...]:
    """The chance of passing, how sure it is, and the plan where there is one.

    Parameters
    ----------
    answer, plan
        As for `chance_text`.

    Raises
    ------
    ValueError
        When the answer is for more than one mean and SD.
    """
    figures = (answer.mean_percent, answer.sd_percent, answer.pass_first_stage, answer.pass_overall, answer.error_bound)
    if not all(isinstance(figure, float) for figure in figures):
        raise ValueError("chances in words are for one mean and one SD")
    mean, sd, first, overall, error = (float(figure) for figure in figures)
    in_words = Prose(text=_in_words(first, overall))
    passes = table(
        f"A batch of {_batch(answer.test, mean, sd)}",
        (("at the first stage", first), ("in all", overall)),
        column("Passes", lambda row: row[0]),
        number("Chance", lambda row: probability(row[1], decimals=2)),
    )
    sure = Prose(
        text="For units that are normally distributed and drawn at random. The chance is calculated without random "
        f"numbers; its error is at most {_up(error * 100)} percentage points."
    )
    return in_words, passes, sure, *(() if plan is None else _plan(plan, test=answer.test, mean=mean, sd=sd))


def _in_words(first: float, overall: float) -> str:
    """The chances as counts of a hundred samples, for people who are no statisticians."""
    told = f"Of 100 samples from such a batch {of_hundred(first)} pass"
    if overall == first:
        return f"{told}."
    return f"{told} at the first stage, and {of_hundred(overall)} once a second stage is tested where it is due."


def of_hundred(chance: float) -> str:
    """A chance as a count of a hundred; none is called every one or none.

    Examples
    --------
    >>> of_hundred(0.7143), of_hundred(0.9999), of_hundred(0.001)
    ('about 71', 'more than 99', 'fewer than 1')
    """
    if chance >= 0.995:
        return "more than 99"
    return "fewer than 1" if chance < 0.005 else f"about {fixed(100.0 * chance, decimals=0)}"


def _batch(test: str, mean: float, sd: float) -> str:
    """Mean and spread in the terms of the test: the tests about the own mean know the RSD only."""
    if test == "dosage-unit-uniformity":
        return f"true mean {plain_limit(mean)} % of label and true SD {plain_limit(sd)} % of label"
    return f"true RSD {plain_limit(sd / mean * 100)} %"


def _plan(plan: ChancePlan, *, test: str, mean: float, sd: float) -> tuple[Piece, ...]:
    of_label = test == "dosage-unit-uniformity"
    spread = "SD" if of_label else "RSD"
    batch = f"At a mean of {plain_limit(mean)} % of label a batch" if of_label else "A batch"
    greatest, even, poor = (
        f"{fixed(one, decimals=2)} %" for one in (plan.greatest_sd_percent, plan.even_sd_percent, plan.poor_sd_percent)
    )
    spreads = Prose(
        text=f"{batch} passes with a chance of {_share(plan.wanted)} up to a true {spread} of {greatest}, is as likely "
        f"to pass as not at {even}, and passes with a chance of 5 % or less from {poor} on."
    )
    costs = table(
        "What the size of a single sample costs, the limits being kept and no second stage tested",
        plan.samples,
        number("Units", lambda one: one.n),
        number("Sound batch refused at once", lambda one: probability(one.sound_refused, decimals=2)),
        number("Poor batch passed", lambda one: probability(one.poor_passed, decimals=2)),
    )
    meant = Prose(
        text=f"Sound: {spread} {greatest}. Poor: {spread} {poor}. The rule's first stage has {plan.first_size} units; "
        "no other size is its test."
    )
    return spreads, *_units(plan, mean=mean, sd=sd), costs, meant


def _units(plan: ChancePlan, *, mean: float, sd: float) -> tuple[Prose, ...]:
    """How many units assure the wanted chance; nothing for a test that such a plan is not known for."""
    if plan.greatest_sample_sd_percent is None:
        return ()
    shown = f"that show a mean of {plain_limit(mean)} % and an SD of {plain_limit(sd)} %"
    needed = (
        f"it takes {plan.units_needed} units {shown}"
        if plan.units_needed is not None
        else f"not even a thousand units {shown} would do"
    )
    enough = (
        f"{plan.first_size} units of that mean do where their SD is {_floor(plan.greatest_sample_sd_percent)} % or less"
        if plan.greatest_sample_sd_percent > 0.0
        else f"no {plan.first_size} units of that mean do"
    )
    sure = f"To assure a chance of {_share(plan.wanted)} with {_share(plan.confidence)} confidence"
    beside = "The bound of qc check, which takes no spread for granted, is lower."
    return (Prose(text=f"{sure}, {needed}; {enough}. {beside}"),)


def limits_table(limits: AcceptanceLimits) -> Table:
    """A table of acceptance limits: the greatest SD a sample may show, by its mean and number of units.

    Parameters
    ----------
    limits : AcceptanceLimits
        Of at most eight numbers of units, to keep within 80 columns.
    """
    return table(
        f"Greatest SD (% of label) that the tested units may show to assure, with {_share(limits.confidence)} "
        f"confidence, that another sample passes with a chance of at least {_share(limits.wanted)}.",
        zip(limits.means_percent, limits.greatest_sd_percent, strict=True),
        number("mean", lambda row: fixed(row[0], decimals=1)),
        *(number(f"n {n}", partial(_at, place)) for place, n in enumerate(limits.numbers)),
    )


def write_chance_report(directory: Path, *, asked: Question, answer: Chance, plan: ChancePlan) -> Path:
    """Write the page into a folder, whole or not at all.

    Parameters
    ----------
    directory : Path
        The folder; made when it is not there.
    asked : Question
    answer : Chance
        For one mean and SD.
    plan : ChancePlan
        For the same.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    qc.show.filing.ReportExists
        When the folder holds such a page already.
    OSError
        When it cannot be written; nothing was left behind.
    """
    from qc.assurance.operating import operating_curve

    record = asked.rule
    mean, sd = float(answer.mean_percent), float(answer.sd_percent)
    top = REACH_OF_SD * max(plan.poor_sd_percent, sd)
    curve = operating_curve(plan=asked.plan(), rule=record, mean=mean, reach=top)
    page = chance_page(
        title=title(answer),
        answer=chance_pieces(answer, plan=plan),
        curve=replace(curve, sample_sd_percent=sd),
    )
    file_whole(directory, {CHANCE: page.encode()})
    return directory / CHANCE


def _at(place: int, row: tuple[float, Sequence[float]]) -> str:
    return _floor(row[1][place])


def _share(share: float) -> str:
    return f"{plain_limit(share * 100)} %"


def _floor(sd: float) -> str:
    """An SD rounded down, so that the figure printed is itself allowed; a dash where none is."""
    return fixed(int(sd * 100 + 1e-6) / 100, decimals=2) if sd > 0.0 else NOTHING


def _up(percent: float) -> str:
    """Rounded up to two digits, so that "at most" stays true."""
    places = max(1 - math.floor(math.log10(percent)), 0)
    return fixed(math.ceil(percent * 10**places - 1e-9) / 10**places, decimals=places)
