"""From a limit to its line: what is compared, the figure and the limit as printed; one function for each `what`."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from decimal import Decimal

from qc.results import Criterion, Limit
from qc.results.messages import Figure
from qc.say.numbers import fixed
from qc.say.spans import reach, span, spans

Line = tuple[str, str, str]
"""What is compared, the figure, and the limit, each as printed."""


def line(limit: Limit | Criterion) -> Criterion:
    """The line of page one for a limit.

    Raises
    ------
    LookupError
        When no function here words that limit, which is a fault of the package.
    """
    if isinstance(limit, Criterion):
        return limit
    say = getattr(sys.modules[__name__], limit.what, None)
    if say is None:
        raise LookupError(f"no words for the limit {limit.what}")
    what, figure, bound = say(limit)
    return Criterion(what=what, figure=figure, limit=bound, met=limit.met, clause=limit.clause)


def lines(limits: Iterable[Limit | Criterion]) -> tuple[Criterion, ...]:
    """The lines of several limits, in their order."""
    return tuple(line(one) for one in limits)


def yield_of_melt(limit: Limit) -> Line:
    """Units obtained over those that the melt would give."""
    return _balance("yield", limit)


def melt_unaccounted(limit: Limit) -> Line:
    """The part of the melt that was not found again."""
    return _balance("melt not accounted for", limit)


def active_found(limit: Limit) -> Line:
    """Active found of that weighed."""
    return _balance(f"{limit.values['about']} found", limit)


def units_unaccounted(limit: Limit) -> Line:
    """Units obtained less released, rejected and sampled."""
    return "units unaccounted for", str(limit.figure), str(limit.bound)


def _balance(what: str, limit: Limit) -> Line:
    assert limit.figure is not None
    assert isinstance(limit.bound, tuple)
    return what, f"{fixed(limit.figure, decimals=2)} {limit.unit}", _between(*limit.bound, unit=limit.unit)


def _between(low: Figure | None, high: Figure | None, *, unit: str) -> str:
    """Limits as the rule writes them, of one side or both."""
    if low is not None and high is not None:
        return f"{low:f} to {high:f} {unit}"
    return f"at least {low:f} {unit}" if low is not None else f"at most {high or Decimal(0):f} {unit}"


def lines_ticked(limit: Limit) -> Line:
    """Lines of the packing checklist that are ticked."""
    return "lines ticked", f"{limit.figure} of {limit.bound}", "every line"


def nonconforming_units(limit: Limit) -> Line:
    """Units with a defect of one grade, by count or as a share of the batch."""
    of = f" % of {limit.values['lot']}" if limit.unit == "%" else ""
    bound = f"at most {limit.bound}{of}" if limit.bound else "none"
    return f"units with a {limit.values['grade']} defect", str(limit.figure), bound


def check_result(limit: Limit) -> Line:
    """Results of a check beside a limit in figures."""
    quantity, results = limit.values["quantity"], limit.values["results"]
    what = quantity if len(results) == 1 else f"{quantity}, {len(results)} results"
    return what, reach(results), span(limit.values["span"])


def check_in_words(limit: Limit) -> Line:
    """A result in words that says itself whether the check was met."""
    bound = spans(limit.values["spans"]) or limit.values["limit"] or "as entered"
    return limit.values["name"], limit.values["result"], bound
