"""From a batch to a judged batch: which tests apply, what each says, and what they say together."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import Decimal
from functools import partial
from typing import Any

from msgspec.structs import replace

from qc.assurance.assure import assure_batch
from qc.batch import Batch
from qc.causes.priors import PRIOR_COUNTS, Priors, builtin_priors, house_priors, with_confirmed
from qc.causes.weigh import CausesWeighed, weigh_causes
from qc.contents import actives_of
from qc.judging.advice import next_steps, units_asked_for
from qc.judging.applicable import AskedTest, asked_tests
from qc.judging.assayed_again import assayed_again, judged_by_each_assay
from qc.judging.cannot_say import cannot_say
from qc.judging.closing import agree_within_g
from qc.judging.content import judge_content_rule, judge_dosage_rule, judge_large_rule
from qc.judging.mass import compare_with_plan, judge_mass_rule, judge_mean_mass
from qc.judging.mould_side import mould_findings
from qc.judging.next_units import with_next_units
from qc.judging.open_matters import open_matters, with_unchecked
from qc.judging.own_order import in_own_order
from qc.judging.record import record_findings
from qc.judging.release import is_of_release, judge_release
from qc.judging.remarks import remarks
from qc.judging.unit_rows import masses_against, unit_rows
from qc.judging.weighed_again import beside_first, judged_by_both_masses, with_counting_masses
from qc.pour.analysis import IMPORTANT_CHANGE_PERCENT, analyse_pour
from qc.pour.assay_list import RANDOM_UNITS
from qc.pour.lots import lot_of, seed_of
from qc.problems import Notice
from qc.results import (
    SOUND,
    AcceptanceBoundary,
    BatchVerdict,
    JudgedBatch,
    PourAnalysis,
    Remark,
    RuleUsed,
    TestResult,
    UnitLedger,
    Verdict,
    message,
)
from qc.rules.forms import Form, find_form, nearest_forms
from qc.rules.kinds import kind_of, mean_mass
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.acceptance_value import acceptance_boundary
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.large_samples import LargeSampleRule
from qc.rules.kinds.mass.record import MassRule
from qc.rules.kinds.mean_mass import MeanMassRule
from qc.rules.records import Rule, bearing
from qc.rules.rule_books import RuleBook


def judge_batch(
    batch: Batch,
    *,
    book: RuleBook,
    seed: int | None = None,
    blind: bool = False,
    confirmed: Mapping[str, int] = {},
) -> JudgedBatch:
    """Judge a batch by a book of rules, follow it along the pour, weigh the causes and say what the data assure.

    Parameters
    ----------
    batch : Batch
    book : RuleBook
        The rule set with its records, and what a house file says of the pour and the causes.
    seed : int or None
        For everything drawn at random; when None it is taken from the batch number and the places of the units, so that
        a mass that is corrected draws no other units.
    blind : bool
        Leave the causes out, for whoever is to find them.
    confirmed : mapping
        How often each cause was confirmed in the history of the house; it moves their prior.

    Returns
    -------
    JudgedBatch
    """
    asked: dict[str, Any] = {"book": book, "blind": blind, "confirmed": confirmed}
    return beside_first(partial(_judged, seed=seed_of(batch) if seed is None else seed, **asked), batch)


def _judged(
    batch: Batch, *, book: RuleBook, seed: int, blind: bool = False, confirmed: Mapping[str, int] = {}
) -> JudgedBatch:
    """A batch judged by the masses that count."""
    entered = in_own_order(batch)
    batch = with_counting_masses(entered)
    actives = actives_of(batch)
    form = find_form(batch.dosage_form) if batch.dosage_form else None
    name = form.name if form else ""
    every = asked_tests(batch, form=name, actives=actives, book=book)
    asked = [one for one in every if not is_of_release(one.rule) and (form or not _needs_form(one.rule))]
    by_assay = partial(judged_by_each_assay, again=assayed_again(entered))
    of_units = (judged_by_both_masses(partial(by_assay, partial(_judge_one, one)), entered) for one in asked)
    judged = [*of_units, *(() if form else _waiting_for_form(batch, book=book))]
    of_mean = next(filter(None, map(mean_mass.KIND.own, book.rules.values())), None)
    plan = compare_with_plan(batch, rule=of_mean, asked=max((one.masses for one in every), default=0))
    lot = lot_of(batch, seed=seed)
    release = judge_release(
        entered, book=book, asked=every, form=name, actives=actives, plan=plan, of_units=judged, lot=lot
    )
    verdict = overall((*judged, *release.asked), beside=release.beside)
    judged = [
        with_next_units(
            test, batch=batch, verdict=verdict, seed=seed, ledger=release.ledger, rule=book.rules.get(test.rule)
        )
        for test in judged
    ]
    rules = {rule.id: rule for rule in (*book.rules.values(), *release.rules)}
    tests = tuple(with_unchecked(test, rules[test.rule]) for test in (*judged, *release.asked, *release.beside))
    pour = _pour(batch, book=book, seed=seed, random_units=_first_sample(asked))
    weighed = CausesWeighed(causes=())
    if not blind:
        priors = priors_of(book, confirmed=confirmed)
        weighed = weigh_causes(batch, priors=priors, trend=pour.trend)
    with_results = list(zip(asked, judged, strict=False))
    masses = masses_against(batch, with_results)
    rows = unit_rows(entered, masses=masses, actives=actives, judged=with_results)
    mass_limits = _as_floats(masses.limits)
    of_contents = (one.rule for one in asked if isinstance(one.rule, ContentRule))
    content_limits = next(((rule.inner_percent, rule.outer_percent) for rule in of_contents), None)
    to_assay = pour.assay_list.random_units if pour.assay_list else ()
    moulds = mould_findings(rows, inner_percent=mass_limits[0], trend=pour.trend, blind=blind)
    own = (*record_findings(entered), *remarks(entered, actives=actives, tests=tests, plan=plan))
    said = (*moulds, *(one.text for one in (*own, *release.remarks)), *(one for test in tests for one in test.reasons))
    unsaid = cannot_say(batch, tests, form=name, seed=seed)
    rules_used = _rules_used((*(book.rules[test.rule] for test in judged), *release.rules), form=name, tests=tests)
    steps = next_steps(
        tests,
        verdict=verdict,
        to_assay=to_assay,
        causes=weighed.causes,
        trend=pour.trend,
        findings=said,
        ledger=release.ledger,
        measurements=weighed.next_measurements,
        inner_percent=None if content_limits is None else content_limits[0],
        agree_within_g=partial(agree_within_g, batch=batch),
        open_matters=[*open_matters(entered, tests, verdict=verdict, cannot_say=unsaid)],
    )
    return JudgedBatch(
        batch=entered,
        blind=blind,
        rule_set=book.set.id,
        verdict=verdict,
        tests=tests,
        planned_mass=plan,
        pour=pour,
        causes=weighed.causes,
        cause_pairs=weighed.pairs,
        next_measurements=weighed.next_measurements,
        assurance=assure_batch(tests=tests, book_rules=book.rules, batch=batch, ledger=release.ledger, lot=lot),
        notices=(
            *batch.notices,
            *pour.notices,
            *weighed.notices,
            *_form_note(form),
            *(() if blind else _learnt(confirmed)),
            *_wrong_form(asked),
            *own,
            *release.remarks,
        ),
        next_steps=steps,
        cannot_say=unsaid,
        unit_rows=rows,
        mould_findings=moulds,
        boundaries=tuple(_boundaries(asked)),
        rules_used=rules_used,
        mass_limits=mass_limits,
        content_limits=_as_floats(content_limits),
        seed=seed,
        visual=release.visual,
        reconciliation=release.reconciliation,
        ledger=release.ledger and _to_release(release.ledger, verdict, *units_asked_for(steps)),
        packing=release.packing,
    )


def _to_release(ledger: UnitLedger, verdict: BatchVerdict, named: frozenset[str], more: int) -> UnitLedger:
    """The ledger with what is still asked for; of a batch that does not comply nothing can be released."""
    refused = verdict is BatchVerdict.DOES_NOT_COMPLY
    return replace(
        ledger,
        still_asked_for=len(named) + more,
        released_at_most=0 if refused else ledger.released_at_most,
        not_assayed=tuple(name for name in ledger.not_assayed if name not in named),
    )


def priors_of(book: RuleBook, *, confirmed: Mapping[str, int]) -> Priors:
    """What the causes are weighed with: the built-in priors, those of the house, and what its history confirmed."""
    own = book.house_causes
    priors = builtin_priors() if own is None else house_priors(own, file=book.house_file)
    return with_confirmed(priors, confirmed) if confirmed else priors


def _pour(batch: Batch, *, book: RuleBook, seed: int, random_units: int) -> PourAnalysis:
    """Follow the batch along the pour, by what the house says of it where a house file does."""
    settings = book.pour
    change = None if settings is None else settings.important_change_percent
    return analyse_pour(
        batch,
        seed=seed,
        important_change_percent=IMPORTANT_CHANGE_PERCENT if change is None else float(change),
        later_units_richer=settings is not None and settings.later_units_richer,
        random_units=random_units,
    )


def _first_sample(asked: Sequence[AskedTest[Any]]) -> int:
    """Units of the first stage of the content test that is asked for; the usual number where none is."""
    sizes = [kind.sizes(one.rule)[0] for one in asked if (kind := kind_of(one.rule)).per_active]
    return sizes[0] if sizes else RANDOM_UNITS


JUDGES: Mapping[type[Rule], Callable[[Batch, AskedTest[Any]], TestResult]] = {
    MassRule: judge_mass_rule,
    ContentRule: judge_content_rule,
    DosageUnitRule: judge_dosage_rule,
    LargeSampleRule: judge_large_rule,
    MeanMassRule: judge_mean_mass,
}
"""By what each kind of rule on units is judged."""


def _judge_one(one: AskedTest[Any], batch: Batch) -> TestResult:
    if one.cannot_tell:
        return one.not_assessed(missing=message("tests.dose"), reason=one.cannot_tell)
    return JUDGES[type(one.rule)](batch, one)


def _needs_form(rule: Rule) -> bool:
    """Whether a test of units waits where the form is missing or unknown: all but contents against the label."""
    return not isinstance(rule, DosageUnitRule | LargeSampleRule)


def _waiting_for_form(batch: Batch, *, book: RuleBook) -> list[TestResult]:
    """Each kind of test that waits for the form, once, under the first rule of the set that is of its kind."""
    near = nearest_forms(batch.dosage_form) if batch.dosage_form else ()
    reason = message("advice.form_unknown", form=batch.dosage_form or "", near=near[0].name if near else "")
    waiting: dict[str, Rule] = {}
    for line in book.set.asks:
        rule = book.rules[line.rule]
        if not is_of_release(rule) and _needs_form(rule):
            waiting.setdefault(rule.test, rule)
    return [
        AskedTest(rule=rule, form="", required=True).not_assessed(missing=message("tests.known_form"), reason=reason)
        for rule in waiting.values()
    ]


def overall(tests: Sequence[TestResult], *, beside: Sequence[TestResult] = ()) -> BatchVerdict:
    """What the tests say together: a failure first, then whatever is undecided, then compliance.

    Parameters
    ----------
    tests : sequence of TestResult
        What the rule set asks for; at least one of them must comply.
    beside : sequence of TestResult
        Checks that were entered besides: they can fail a batch or leave it undecided, not make it comply.
    """
    every = (*tests, *beside)
    verdicts = {test.verdict for test in every}
    if Verdict.DOES_NOT_COMPLY in verdicts:
        return BatchVerdict.DOES_NOT_COMPLY
    waiting = {Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS} & verdicts
    lacking = any(test.verdict is Verdict.NOT_ASSESSED and test.required for test in every)
    if waiting or lacking or all(test.verdict is not Verdict.COMPLIES for test in tests):
        return BatchVerdict.UNDECIDED
    return BatchVerdict.COMPLIES


def _as_floats(limits: tuple[Decimal, Decimal] | None) -> tuple[float | None, float | None]:
    return (None, None) if limits is None else (float(limits[0]), float(limits[1]))


def _learnt(confirmed: Mapping[str, int]) -> tuple[Remark, ...]:
    """Which prior the causes were weighed with, where it is not the stated one alone."""
    faults = sum(often for cause, often in confirmed.items() if cause != SOUND)
    said = message("causes.learnt", n=faults, counts=PRIOR_COUNTS)
    return (Remark(where="Causes", text=said),) if faults else ()


def _form_note(form: Form | None) -> tuple[Notice, ...]:
    return (Notice(where="Batch, Dosage form", text=form.note),) if form is not None and form.note else ()


def _wrong_form(asked: Sequence[AskedTest[Any]]) -> tuple[Remark, ...]:
    return tuple(
        Remark(where=one.rule.title, text=message("advice.asked_by_name", title=one.rule.title, form=one.form))
        for one in asked
        if (forms := kind_of(one.rule).asked_of(one.rule)) and one.form not in forms
    )


def _boundaries(asked: Sequence[AskedTest[Any]]) -> Iterator[AcceptanceBoundary]:
    for one in asked:
        if isinstance(one.rule, DosageUnitRule) and one.active is not None:
            for stage, n in ((1, one.rule.first_size), (2, one.rule.first_size + one.rule.second_size)):
                points = acceptance_boundary(stage=stage, target_percent=one.active.target_percent, rule=one.rule)
                yield AcceptanceBoundary(active=one.active.name, n=n, points=points)


def _rules_used(used: Sequence[Rule], *, form: str, tests: Sequence[TestResult]) -> tuple[RuleUsed, ...]:
    return tuple(
        RuleUsed(
            id=rule.id,
            title=rule.title,
            work=rule.reference.work,
            section=rule.reference.section,
            edition=rule.reference.edition,
            mark=rule.reference.mark.value,
            clauses=(
                *(
                    message("rules.clause", clause=clause, mark=clause.mark.value)
                    for clause in bearing(rule, form=form, tests=[test for test in tests if test.rule == rule.id])
                ),
                *(
                    message("rules.band", band=band, mark=band.mark.value)
                    for band in (rule.bands if isinstance(rule, MassRule) else ())
                    if form in band.forms
                ),
            ),
        )
        for rule in {rule.id: rule for rule in used}.values()
    )
