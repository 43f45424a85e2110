"""The last lines of a working: who lies beyond which limit, how many may, and what follows from it."""

from __future__ import annotations

from collections.abc import Sequence

from qc.results import Verdict
from qc.rules.display import listed

VERDICT_WORDS = {
    Verdict.COMPLIES: "the sample complies",
    Verdict.DOES_NOT_COMPLY: "the sample does not comply",
    Verdict.SECOND_STAGE: "the first stage is not passed",
    Verdict.TOO_FEW_UNITS: "there are too few units for a verdict",
    Verdict.NOT_ASSESSED: "the test is not assessed",
}


def count_line(where: str, names: Sequence[str], *, of: int, allowed: str) -> str:
    """One limit with the units beyond it by name and what the rule allows.

    Examples
    --------
    >>> count_line("Beyond 5 % of the mean", ["4", "7"], of=20, allowed="at most 2 allowed")
    'Beyond 5 % of the mean: units 4 and 7, that is 2 of 20; at most 2 allowed.'
    >>> count_line("Beyond 10 % of the mean", [], of=20, allowed="none allowed")
    'Beyond 10 % of the mean: no unit of 20; none allowed.'
    """
    if not names:
        return f"{where}: no unit of {of}; {allowed}."
    word = "unit" if len(names) == 1 else "units"
    return f"{where}: {word} {listed(names)}, that is {len(names)} of {of}; {allowed}."


def therefore_line(verdict: Verdict, *, reasons: Sequence[str]) -> str:
    """What follows: the verdict, with the reasons where it is not that the sample complies.

    Examples
    --------
    >>> therefore_line(Verdict.COMPLIES, reasons=["None lies outside."])
    'Therefore the sample complies.'
    >>> therefore_line(Verdict.DOES_NOT_COMPLY, reasons=["Unit 4 lies outside."])
    'Therefore the sample does not comply. Unit 4 lies outside.'
    """
    said = f"Therefore {VERDICT_WORDS[verdict]}."
    return said if verdict is Verdict.COMPLIES else " ".join([said, *reasons])
