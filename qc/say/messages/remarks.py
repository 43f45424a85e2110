"""Remarks on common mistakes in the input, and on units left out."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from qc.results import Message, TrendFlag, Verdict
from qc.say.messages import all_words
from qc.say.names import TREND
from qc.say.numbers import fixed, plain_limit
from qc.say.sentences import both_masses
from qc.say.text import counted, listed, units_named

SENTENCES = {
    "likeliest": "likeliest cause: {causes:any_of}",
    "marks_passed_over": "{marked:count unit} marked under Test sample, and no test rests on just these: mark as many "
    "as a test asks for.",
    "overfull": "The doses would displace more base than the {holds_g:typed} g that a cavity holds, so no planned mass "
    "was worked out. See whether a displacement number belongs to the other convention.",
    "unlike_plan": "The planned mass entered, {entered_g:typed} g, and the {worked_out_g:grams} g worked out from "
    "nominal mass, doses and displacement differ by more than rounding: see which of them is wrong.",
    "no_limit_for_mean": "The mean lies {percent:+.2f} % from the planned mass. The rules in use set no limit for "
    "that; a house rule can.",
    "other_form": 'The product "{product}" is called by {named}, and was judged as {form}, whose limits may be '
    "others: mend the Dosage form, or the name of the product.",
    "convention": "The number {number:plain} was taken as {convention}, so the active is lighter than the base. Most "
    "are heavier: see whether the source means the {is_value:either displacement factor|displacement value}.",
}


def left_out(*, units: Sequence[str], of_units: int) -> str:
    """Units with a reason to leave them out."""
    share = fixed(100 * len(units) / of_units, decimals=0)
    return (
        f"{counted(len(units), 'unit')} of {of_units} ({share} %) marked to be left out: {listed(units)}. They stay in "
        "the record."
    )


def weighed_again(
    *, masses: Sequence[tuple[str, Decimal | None, Decimal, str | None]], counts: bool, reasoned: bool
) -> str:
    """Units that were weighed twice with both masses [g], and which of the two counts."""
    why = list(dict.fromkeys(reason for *_, reason in masses if reason))
    said = f"Weighed again: {both_masses([one[:3] for one in masses])}"
    if counts:
        return f"{said}, because: {listed(why)}. The second mass counts."
    if reasoned:
        return (
            f"{said}, because: {listed(why)}. The first mass counts until somebody other than who weighed stands under "
            "Checked by on the sheet Batch."
        )
    return f"{said}. No reason stands under Weighed again because, so the first mass counts."


def along(*, active: str, flag: TrendFlag) -> str:
    """What was found of the masses, or of the content per gram of an active, along the pour."""
    return f"{f'concentration of {active}' if active else 'masses'} along the pour: {TREND[flag]}"


def corrected(
    *, masses: Sequence[tuple[str, Decimal | None, Decimal]], first: Sequence[Message], now: Sequence[Message]
) -> str:
    """What was found besides the verdicts by the second masses [g], beside what was by those that were read first."""
    both = {"first": "; ".join(all_words(first)), "second": "; ".join(all_words(now))}
    told = [f"by the {which} “{found.rstrip('.')}”" for which, found in both.items() if found]
    return f"With the second mass of {both_masses(masses)} the findings changed: {', '.join(told)}."


def without(*, verdict: Verdict, units: Sequence[str], other: Verdict) -> str:
    """The verdict of record beside the one without the units left out."""
    changed = "the same" if other == verdict else "a different verdict"
    without = f"Without {units_named(units)} it would be: {other} ({changed})."
    return f"The verdict of record counts every unit: {verdict}. {without}"


def coarse_balance(*, step_g: Decimal, allowed_g: float) -> str:
    """Readability of the balance beside the deviation that a unit is allowed [g]."""
    share = fixed(100 * float(step_g) / allowed_g, decimals=0)
    return (
        f"The balance reads in steps of {plain_limit(step_g)} g, which is {share} % of the allowed deviation of "
        f"{fixed(allowed_g, decimals=4)} g: too coarse to judge a unit near the limit."
    )
