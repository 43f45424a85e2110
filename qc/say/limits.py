"""From a limit to its line: what is compared, the figure and the limit as printed; `LINES`, or a function each."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from decimal import Decimal

from msgspec import Struct

from qc.results import Limit
from qc.say.numbers import fixed, fixed_beside, signed_beside
from qc.say.sentences import filled
from qc.say.spans import every_one, span, spans
from qc.say.text import counted, units_named

Line = tuple[str, str, str]
"""What is compared, the figure, and the limit, each as printed."""

LINES: dict[str, Line] = {
    "units_weighed": ("units weighed", "{figure}", "at least {bound}"),
    "units_assayed": ("units assayed", "{figure}", "{bound}"),
    "critical_defects": ("units with a critical defect", "{figure}« ({names:units})»", "none allowed"),
    "units_poured": ("units poured", "{figure}", "{bound:counts}"),
    "units_obtained": ("units obtained", "{figure}", "{bound:counts}"),
    "units_used": ("units used up, rejected or retained", "{figure}", "{bound:counts}"),
    "units_released": ("units released", "{figure}", "{bound:counts}"),
    "quantity_released": ("quantity released", "{figure}", "{bound:counts}"),
    "units_sampled": ("units sampled", "{figure}", "{bound:counts}"),
    "units_unaccounted": ("units unaccounted for", "{figure}", "{bound}"),
    "greatest_deviation": ("farthest in the sample", "{moved} % (unit {unit})", "{limit:f} % / {outer:f} %"),
    "mean_content": ("mean content", "{figure} {measure}", "more than {bound}"),
    "mean_against_plan": ("mean against planned mass", "{moved} %", "within {bound:f} %"),
    "mean_of_label": ("mean, % of label", "{shown} %", "{bound:between %}"),
    "yield_of_melt": ("yield", "{shown} {measure}", "{bound:between {measure}}"),
    "melt_unaccounted": ("melt not accounted for", "{shown} {measure}", "{bound:between {measure}}"),
    "active_found": ("{about} found", "{shown} {measure}", "{bound:between {measure}}"),
    "lines_ticked": ("lines ticked", "{figure} of {bound}", "every line"),
}
"""The lines that depend on their values for nothing but the writing, as `qc.say.sentences` fills them in.

`shown` and `moved` are the figure, without and with its sign, to as many decimals as tell it from its limits.
"""


# The values of a limit that its figure is laid beside.
_LIMITS = ("limit", "outer")
QUIET_WHEN_MET = ("units_weighed", "units_assayed", "others_beyond", "samples_that_comply")
"""Limits that nobody asks about once they are met."""


class LimitLine(Struct, frozen=True, kw_only=True):
    """One figure beside its limit, in words a pharmacist signs: a line of page one.

    `met` is None where it cannot be said, for example before the second stage, and always `for_information`.
    """

    what: str
    figure: str
    limit: str
    met: bool | None = None
    for_information: bool = False


def line(limit: Limit) -> LimitLine:
    """The line of page one for a limit.

    Raises
    ------
    LookupError
        When no function here words that limit, which is a fault of the package.
    """
    what, figure, bound = _printed(limit)
    for_information = (
        limit.bound is None and limit.met is None and "names" not in limit.values and limit.what != "check_in_words"
    )
    return LimitLine(what=what, figure=figure, limit=bound, met=limit.met, for_information=for_information)


def _printed(limit: Limit) -> Line:
    if plain := LINES.get(limit.what):
        values = {"figure": limit.figure, "bound": limit.bound, "measure": limit.unit, **limit.values}
        if not isinstance(limit.figure, int | str | None):
            ends = (*(limit.bound if isinstance(limit.bound, tuple) else [limit.bound]), *map(values.get, _LIMITS))
            values["shown"] = fixed_beside(limit.figure, limits=ends, decimals=2)
            values["moved"] = signed_beside(limit.figure, limits=ends, decimals=2)
        what, figure, bound = (filled(text, values) for text in plain)
        return what, figure, bound
    say = getattr(sys.modules[__name__], limit.what, None)
    if say is None:
        raise LookupError(f"no words for the limit {limit.what}")
    line: Line = say(limit)
    return line


def in_short(limit: Limit, *, centred: bool = True) -> tuple[str, str]:
    """The figure with what it counts, and its limit, each as short as a line of a terminal needs.

    Where it is not `centred`, a count of units does not name what it goes by.

    Examples
    --------
    >>> in_short(Limit(what="units_weighed", figure=12, bound=20, met=False))
    ('units weighed 12', 'at least 20')
    """
    what, figure, bound = _printed(limit)
    if limit.what in OF_ASSAY:
        return f"{what} {_of_assay(limit, interval=False)}", bound
    if getattr(sys.modules[__name__], limit.what, None) is beyond_limit:
        return f"{figure} {where(limit) if centred else reach(limit)}", bound
    return f"{'AV' if limit.what == 'acceptance_value' else what} {figure}", bound


def in_brief(limit: Limit) -> str:
    """The figure alone, for a line that holds those of many actives.

    Examples
    --------
    >>> in_brief(Limit(what="acceptance_value", figure=Decimal("4.1"), bound=15, met=True))
    '4.1'
    """
    figure = f"{limit.figure:f}" if isinstance(limit.figure, Decimal) else line(limit).figure
    return figure + (f" {limit.unit}" if limit.unit == "%" else "")


def deciding(limits: Iterable[Limit]) -> list[Limit]:
    """The limits that a verdict turns on: those not met; else those still open; else those met by a count or figure."""
    shown = of_page_one(limits)
    for met in (False, None):
        if found := [one for one in shown if one.met is met]:
            return found
    return shown


def of_page_one(limits: Iterable[Limit]) -> list[Limit]:
    """The limits a verdict goes by, without what nobody asks about once it is met; else what is for information."""
    every = list(limits)
    shown = [one for one in every if one.met is not None or one.bound is not None] or every
    return [one for one in shown if not (one.met and one.what in QUIET_WHEN_MET)]


def lines(limits: Iterable[Limit]) -> tuple[LimitLine, ...]:
    """The lines of several limits, in their order."""
    return tuple(line(one) for one in limits)


def at_most(number: int) -> str:
    """How a rule allows a count.

    Examples
    --------
    >>> at_most(0), at_most(2)
    ('none', 'at most 2')
    """
    return "none" if number == 0 else f"at most {number}"


def reach(limit: Limit) -> str:
    """Beyond what a count of units lies, of its centre: "beyond 5 %", "outside 85 to 115 %".

    A test of mass names how far a unit may lie from the centre; tests of content name the range.
    """
    if limit.values.get("as_range"):
        return f"outside {allowed_range(limit)}"
    return f"beyond {limit.values['percent']:f} %"


def allowed_range(limit: Limit) -> str:
    """The range in which a unit may lie, of the centre of its count."""
    percent = limit.values["percent"]
    return f"{100 - percent:f} to {100 + percent:f} %"


def centre(limit: Limit) -> str:
    """What a count of units goes by."""
    return CENTRES[limit.values["centre"]]


def where(limit: Limit) -> str:
    """Beyond what a count of units lies: "beyond 5 % of the mean", "outside 85 to 115 % of M"."""
    return f"{reach(limit)} of {centre(limit)}"


CENTRES = {"mean": "the mean", "label": "the labelled mass", "M": "the reference value M"}
"""What a unit deviates from."""


def beyond_limit(limit: Limit) -> Line:
    """Units of the sample beyond a limit; without a bound they are counted at the second stage."""
    bound = (at_most(limit.bound) if limit.bound else "none allowed") if isinstance(limit.bound, int) else "at stage 2"
    bound += f" of any {limit.values['any']}" if "any" in limit.values else ""
    return f"units {where(limit)}", f"{limit.figure} of {limit.values['of']}", bound


beyond_double = beyond_inner = beyond_outer = outside_l2 = beyond_limit


def others_beyond(limit: Limit) -> Line:
    """Units measured although the sample left them out, beyond the outer limit."""
    measured = "assayed" if limit.values.get("as_range") else "weighed"
    _, figure, bound = beyond_limit(limit)
    return f"other units {measured}, {reach(limit)}", figure, bound


def beyond_limit_of_all(limit: Limit) -> Line:
    """Units of all weighed beyond the inner limit, about the mean of them all where that is the centre."""
    of_all = " of all" if limit.values["centre"] == "mean" else ""
    return f"all weighed, {where(limit)}{of_all}", f"{limit.figure} of {limit.values['of']}", "for information"


def samples_that_comply(limit: Limit) -> Line:
    """The share of the samples that could have been drawn from all units weighed; no rule asks for it."""
    bound = "for information" if limit.bound is None else f"at least {limit.bound} %"
    return f"possible samples of {limit.values['drawn']} that comply", f"{fixed(limit.figure, decimals=1)} %", bound


def beyond_every_reference(limit: Limit) -> Line:
    """Units that keep a second stage from being passed."""
    units = units_named(limit.values["names"])
    (low, high), (least, most) = limit.values["reference"], limit.values["ends"]
    return (
        f"units outside {least:f} to {most:f} % of label, where no second stage can pass (M {low:f} to {high:f} %)",
        f"{limit.figure} of {limit.values['of']} ({units})",
        "none allowed",
    )


def acceptance_value(limit: Limit) -> Line:
    """The acceptance value, rounded once as the rule states it; the unrounded one in brackets."""
    assert isinstance(limit.figure, Decimal)
    places = 1 - int(limit.figure.as_tuple().exponent)
    unrounded = fixed_beside(limit.values["unrounded"], limits=_turning(limit.figure), decimals=places)
    what = f"acceptance value AV, {limit.values['n']} units"
    return what, f"{limit.figure:f} ({unrounded})", f"at most {limit.bound:f}"


def pooled_assay(limit: Limit) -> Line:
    """The assay of a pooled sample, rounded once as the limit is written; the unrounded one in brackets."""
    return _assay(limit, "assay of the pooled sample")


def mean_of_units(limit: Limit) -> Line:
    """The mean content of single units likewise, with its interval where it has one."""
    return _assay(limit, f"mean content of {counted(limit.values['n'], 'unit')}")


OF_ASSAY = ("pooled_assay", "mean_of_units")
"""Of which a short line gives no interval, so that the limit beside it is not cut."""


def _assay(limit: Limit, what: str) -> Line:
    against = limit.values["against"]
    return what, _of_assay(limit, interval=True), "no limit given" if against is None else span(against)


def _of_assay(limit: Limit, *, interval: bool) -> str:
    assert isinstance(limit.figure, Decimal)
    values = limit.values
    unrounded = fixed_beside(values["unrounded"], limits=_turning(limit.figure), decimals=2)
    beside = [] if values["unrounded"] == limit.figure else [unrounded]
    if interval and values["interval"] is not None:
        low, high = (fixed(end, decimals=1) for end in values["interval"])
        beside.append(f"95 % interval {low} to {high} if all are alike")
    return f"{limit.figure:f} %" + (f" ({'; '.join(beside)})" if beside else "")


def _turning(figure: Decimal) -> tuple[Decimal, Decimal]:
    """Between which two numbers a figure lies that was rounded to this one."""
    half = Decimal(5).scaleb(int(figure.as_tuple().exponent) - 1)
    return figure - half, figure + half


def nonconforming_units(limit: Limit) -> Line:
    """Units with a defect of one grade, by count or as a share of the batch."""
    of = f" % of {limit.values['lot']}" if limit.unit == "%" else ""
    bound = f"at most {limit.bound}{of}" if limit.bound else "none allowed"
    return f"units with a {limit.values['grade']} defect", str(limit.figure), bound


def check_result(limit: Limit) -> Line:
    """Results of a check beside a limit in figures."""
    quantity, results = limit.values["quantity"], limit.values["results"]
    what = quantity if len(results) == 1 else f"{quantity}, {len(results)} results"
    return what, every_one(results), span(limit.values["span"])


def check_in_words(limit: Limit) -> Line:
    """A result in words that says itself whether the check was met."""
    bound = spans(limit.values["spans"]) or limit.values["limit"] or "as entered"
    return limit.values["name"], limit.values["result"], bound
