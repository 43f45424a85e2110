"""A judged batch in short: mean and spread of what was measured, a test a line, the pour, each in a few words."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeGuard

from qc.results import (
    BATCH_ASSAY,
    CONTENT_TESTS,
    BatchVerdict,
    JudgedBatch,
    Message,
    PourTrend,
    TestResult,
    TrendFlag,
    Verdict,
)
from qc.say.limits import deciding, in_short
from qc.say.messages import words
from qc.say.names import SHORT_TEST, TEST, TREND, in_words, short_title
from qc.say.numbers import fixed, signed
from qc.say.text import listed, shortened

LONGEST_NAME, LEAST_NAME = 24, 18
OF_UNITS = ("mass-uniformity", "content-uniformity", "dosage-unit-uniformity")
CALLED_FIRST = (TrendFlag.CLEAR, TrendFlag.POSSIBLE, TrendFlag.CANNOT_TELL, TrendFlag.NONE_SEEN)
ASKED_FOR = ("advice.mean_content", "advice.usual_checks")
"""Steps that ask for what the verdict does not reach."""
_MEANS = {"mean_g": (4, "g"), "mean_percent": (1, "% of label"), "mean_mg": (2, "mg")}
_SPREADS = {"rsd_percent": "RSD", "sd_percent": "SD"}


def mean_and_spread(test: TestResult) -> str:
    """Mean and spread of a test with their units; empty where it has none.

    Examples
    --------
    >>> from qc.results import Verdict
    >>> figures = {"mean_g": 2.06855, "rsd_percent": 0.8412}
    >>> mean_and_spread(TestResult(id="mass-uniformity", rule="", verdict=Verdict.COMPLIES, figures=figures))
    '2.0686 g, RSD 0.84 %'

    An acceptance value that is worked out by hand from what is printed comes out as it is printed.

    >>> figures = {"mean_percent": 99.7214, "sd_percent": 17.98542, "acceptance_value": 43.2}
    >>> mean_and_spread(TestResult(id="dosage-unit-uniformity", rule="", verdict=Verdict.COMPLIES, figures=figures))
    '99.72 % of label, SD 17.985 %'
    """
    known = {name: value for name, value in test.figures.items() if value is not None}
    finer = "acceptance_value" in known
    mean = [f"{fixed(known[name], decimals=n + finer)} {unit}" for name, (n, unit) in _MEANS.items() if name in known]
    spread = [
        f"{called} {fixed(known[name], decimals=2 + finer)} %" for name, called in _SPREADS.items() if name in known
    ]
    return ", ".join([*mean[:1], *spread[:1]])


def not_covered(judged: JudgedBatch) -> str:
    """What the verdict does not reach: assays and checks without a limit, and usual tests that were not done."""
    known = [test for test in judged.tests if test.verdict is Verdict.NOT_ASSESSED and not test.required]
    assays = [test for test in known if test.id == BATCH_ASSAY and test.figures]
    told = [f"{named.casefold()}, no limits given" for named in dict.fromkeys(in_words(one.id, TEST) for one in assays)]
    told += [f"{listed(one.values['checks'])}, not on record" for one in judged.cannot_say if _lists(one)]
    asked = {one.id for one in judged.next_steps if isinstance(one, Message)} & {*ASKED_FOR}
    why = "no unit is left"
    if judged.verdict is BatchVerdict.DOES_NOT_COMPLY:
        why = "the batch already fails"
    elif judged.ledger is not None and judged.ledger.released_at_most:
        why = "all units left would be assayed"
    told[-1:] = [f"{one} (not needed: {why})" if not asked else one for one in told[-1:]]
    of_content = {test.active: "" for test in judged.tests if test.id in CONTENT_TESTS and test.active}
    # What is required and missing leaves the batch undecided, and is named there.
    named_there = {one.active for one in judged.tests if one.required and one.verdict is Verdict.NOT_ASSESSED}
    seen = {one.active for one in judged.batch.assays} | named_there
    unassayed = [active for active in of_content if active not in seen]
    told[:0] = [f"content of {listed(unassayed, most=3)}, not assayed"] if unassayed else []
    left = [f"{one}, left to the signer" for one in grouped([test for test in known if test.subject])]
    # Of a batch that fails no act asks for the limit.
    met = [test for test in judged.tests if test.unchecked and test.verdict is Verdict.COMPLIES]
    left += grouped(met) if judged.verdict is BatchVerdict.DOES_NOT_COMPLY else ()
    told += [one if one[1:2].isupper() else one[0].lower() + one[1:] for one in left]
    return f"Not in this verdict: {'; '.join(told)}." if told else ""


def _lists(told: Message | str) -> TypeGuard[Message]:
    return isinstance(told, Message) and told.id == "advice.not_entered"


def which_is_required(tests: Sequence[TestResult]) -> str:
    """Which of several tests of uniformity is required, where the others count only as far as they could be judged."""
    of_units = [test for test in tests if test.id in OF_UNITS]
    required = {in_words(test.id, SHORT_TEST).casefold(): None for test in of_units if test.required}
    if not required or all(test.required for test in of_units):
        return ""
    return f"Uniformity of {listed(list(required))} is required; the others count as well."


def means(judged: JudgedBatch) -> tuple[str, ...]:
    """Mean and spread of the masses, then of the contents of each active, with the number of units each rests on."""
    found: dict[str, str] = {}
    for test in sorted(judged.tests, key=lambda test: test.active is not None):
        measured = shortened(test.active or "mass", most=LONGEST_NAME)
        if test.id in (*OF_UNITS, BATCH_ASSAY) and measured not in found and (told := mean_and_spread(test)):
            found[measured] = f"{measured} {told} (n = {test.n})"
    return tuple(found.values())


def not_met(test: TestResult, *, most: int) -> str:
    """A test that is not met or not decided, its figure beside its limit, in so many characters."""
    limits = deciding(test.criteria)
    told, brief = (["; ".join(in_short(one, centred=centred)) for one in limits] for centred in (True, False))
    more = [f"{test.more_units} more units decide"] if test.more_units else []
    if test.missing and (test.verdict is Verdict.NOT_ASSESSED or not told):
        told = brief = [f"not assessed, missing: {words(test.missing)}"]
    elif test.missing:
        more = [f"missing: {words(test.missing)}"]
    elif not told:
        told = brief = [words(test.reasons[0]) if test.reasons else "not assessed"]
    title = short_title(test)
    every = ([*told, *more], [*brief, *more], [told[0], *more], [brief[0], *more], told[:1])
    choices = ["; ".join(parts) for parts in every]
    said = next((one for one in choices if min(len(title), LEAST_NAME) + 2 + len(one) <= most), choices[-1])
    return shortened(f"{shortened(title, most=max(most - 2 - len(said), LEAST_NAME))}: {said}", most=most)


def grouped(tests: Sequence[TestResult]) -> tuple[str, ...]:
    """The names of tests, one for those of a kind with the actives that they are about.

    Examples
    --------
    >>> from qc.results import Verdict
    >>> content = [
    ...     TestResult(id="content-uniformity", rule="", verdict=Verdict.COMPLIES, active=active)
    ...     for active in ("zinc oxide", "lidocaine")
    ... ]
    >>> grouped([TestResult(id="disintegration", rule="", verdict=Verdict.COMPLIES), *content])
    ('Disintegration', 'Content of zinc oxide and lidocaine')
    """
    kinds: dict[str, list[str]] = {}
    for test in tests:
        named = in_words(test.id, TEST | SHORT_TEST) if test.active else short_title(test)
        # What was entered without a limit is told with what was entered.
        without = next((one for one in test.reasons if one.id == "checks.without_limit"), None)
        named += f" ({shortened(str(without.values['result']), most=LONGEST_NAME)}, no limit)" if without else ""
        named += " (limit unchecked)" if test.unchecked else ""
        kinds.setdefault(named, []).extend([shortened(test.active, most=LONGEST_NAME)] if test.active else [])
    return tuple(f"{kind} of {listed(actives)}" if actives else kind for kind, actives in kinds.items())


def pour_in_short(trend: PourTrend) -> tuple[str, ...]:
    """What was found of a change along the pour, the series of one finding together, clear changes first."""
    series = {"mass": trend.mass} | {f"content of {active}": one for active, one in trend.content.items()}
    found: dict[TrendFlag, list[str]] = {flag: [] for flag in CALLED_FIRST}
    for name, one in series.items():
        called, percent = one.flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE), one.told_percent[0]
        change = f" ({signed(percent, decimals=1)} %)" if called and percent is not None else ""
        found[one.flag].append(shortened(name, most=2 * LONGEST_NAME) + change)
    return tuple(f"{TREND[flag]}: {listed(named)}" for flag, named in found.items() if named)
