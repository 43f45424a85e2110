"""From a batch to a judged batch: which tests apply, what each says, and what they say together."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from qc.assurance.assure import assure_batch
from qc.batch import Batch
from qc.causes.priors import house_priors
from qc.causes.weigh import weigh_causes
from qc.contents import actives_of, percents_of_label
from qc.judging.advice import beside_the_tests, next_steps
from qc.judging.applicable import AskedTest, asked_tests
from qc.judging.cannot_say import cannot_say
from qc.judging.content import judge_content_rule, judge_dosage_rule
from qc.judging.mass import compare_with_plan, judge_mass_rule, judge_mean_mass, sample_mean_g
from qc.judging.mould_side import mould_findings
from qc.judging.next_units import with_next_units, without_a_draw
from qc.judging.release import is_of_release, judge_release
from qc.judging.remarks import remarks
from qc.judging.samples import mass_sample
from qc.judging.unit_rows import unit_rows
from qc.pour.analysis import IMPORTANT_CHANGE_PERCENT, analyse_pour
from qc.pour.assay_list import RANDOM_UNITS
from qc.problems import Notice
from qc.results import (
    AcceptanceBoundary,
    BatchVerdict,
    JudgedBatch,
    PourAnalysis,
    PourTrend,
    Remark,
    RuleUsed,
    TestResult,
    TrendFlag,
    Verdict,
    message,
)
from qc.rules.forms import Form, find_form, nearest_forms
from qc.rules.kinds import kind_of, mean_mass
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.acceptance_value import acceptance_boundary
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.bands import band_for
from qc.rules.kinds.mass.record import MassBand, MassBasis, MassRule
from qc.rules.kinds.mean_mass import MeanMassRule
from qc.rules.records import Rule
from qc.rules.rule_books import RuleBook

DEFAULT_SEED = 1


def judge_batch(batch: Batch, *, book: RuleBook, seed: int | None = None) -> JudgedBatch:
    """Judge a batch by a book of rules, follow it along the pour, weigh the causes and say what the data assure.

    Parameters
    ----------
    batch : Batch
    book : RuleBook
        The rule set with its records, and what a house file says of the pour and the causes.
    seed : int or None
        For everything drawn at random; when None it is taken from the digest of the input, so that the same input
        gives the same result.

    Returns
    -------
    JudgedBatch
    """
    drawn_with = _seed(batch) if seed is None else seed
    actives = actives_of(batch)
    form = find_form(batch.dosage_form) if batch.dosage_form else None
    asked_of_all = asked_tests(batch, form=form.name if form else "", actives=actives, book=book)
    asked = tuple(one for one in asked_of_all if not is_of_release(one.rule))
    if form is None:
        asked = tuple(one for one in asked if isinstance(one.rule, DosageUnitRule))
        judged = _without_form(batch, book=book, asked=asked)
    else:
        judged = tuple(_judge_one(batch, one, form=form.name) for one in asked)
    of_units = tuple(with_next_units(test, batch=batch, seed=drawn_with) for test in judged)
    plan = compare_with_plan(batch, rule=next(filter(None, map(mean_mass.KIND.own, book.rules.values())), None))
    release = judge_release(
        batch, book=book, asked=asked_of_all, form=form.name if form else "", actives=actives, plan=plan
    )
    verdict = overall((*of_units, *release.asked), beside=release.beside)
    if verdict is BatchVerdict.DOES_NOT_COMPLY:
        of_units = tuple(without_a_draw(test) for test in of_units)
    tests = (*of_units, *release.asked, *release.beside)
    pour = _pour(batch, book=book, seed=drawn_with, random_units=_first_sample(asked))
    priors = None if book.house_causes is None else house_priors(book.house_causes, file=book.house_file)
    weighed = weigh_causes(batch, priors=priors, trend=pour.trend, seed=drawn_with)
    band, centre_g = _mass_limits(batch, asked, form=form.name if form else "")
    content_tests = [
        (test, one.rule) for test, one in zip(of_units, asked, strict=False) if isinstance(one.rule, ContentRule)
    ]
    rows = unit_rows(batch, centre_g=centre_g, band=band, actives=actives, content_tests=content_tests)
    to_assay = pour.assay_list.random_units if pour.assay_list else ()
    return JudgedBatch(
        batch=batch,
        rule_set=book.set.id,
        verdict=verdict,
        tests=tests,
        planned_mass=plan,
        pour=pour,
        causes=weighed.causes,
        cause_pairs=weighed.pairs,
        next_measurements=weighed.next_measurements,
        assurance=assure_batch(
            tests=tests,
            book_rules=book.rules,
            batch=batch,
            changed=_clearly_changed(pour.trend),
            contents=percents_of_label(batch, actives=actives),
        ),
        notices=(
            *batch.notices,
            *pour.notices,
            *weighed.notices,
            *_form_note(form),
            *_wrong_form(asked, form.name if form else ""),
            *remarks(batch, actives=actives, tests=tests, plan=plan),
            *release.remarks,
        ),
        next_steps=(
            *next_steps(
                tests, verdict=verdict, to_assay=to_assay, beside=beside_the_tests(weighed.causes, trend=pour.trend)
            ),
            *release.next_steps,
        ),
        cannot_say=cannot_say(batch, tests),
        unit_rows=rows,
        mould_findings=mould_findings(
            rows, inner_percent=None if band is None else float(band.limit_percent), trend=pour.trend
        ),
        boundaries=_boundaries(asked),
        rules_used=_rules_used((*(one.rule for one in asked), *release.rules)),
        mass_limit_percent=None if band is None else float(band.limit_percent),
        mass_outer_percent=None if band is None else float(band.outer_percent),
        content_inner_percent=float(content_tests[0][1].inner_percent) if content_tests else None,
        content_outer_percent=float(content_tests[0][1].outer_percent) if content_tests else None,
        seed=drawn_with,
        visual=release.visual,
        reconciliation=release.reconciliation,
        packing=release.packing,
    )


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


def _clearly_changed(trend: PourTrend) -> frozenset[str | None]:
    """What clearly changed along the pour: names of actives, None for the mass."""
    actives = {active for active, found in trend.content.items() if found.flag is TrendFlag.CLEAR}
    return frozenset({*actives, None} if trend.mass.flag is TrendFlag.CLEAR else actives)


def _first_sample(asked: Sequence[AskedTest]) -> int:
    """Units of the first stage of the content test that is asked for; the usual number where none is."""
    sizes = [kind.sizes(one.rule)[0] for one in asked if (kind := kind_of(one.rule)).per_active]
    return sizes[0] if sizes else RANDOM_UNITS


def _seed(batch: Batch) -> int:
    return DEFAULT_SEED if batch.source is None else int(batch.source.sha256[:8], 16)


def _judge_one(batch: Batch, one: AskedTest, *, form: str) -> TestResult:
    rule = one.rule
    if one.cannot_tell:
        return TestResult(
            id=rule.test,
            rule=rule.id,
            active=one.active.name if one.active else None,
            verdict=Verdict.NOT_ASSESSED,
            missing=message("tests.dose"),
            reasons=(one.cannot_tell,),
            required=one.required,
        )
    if isinstance(rule, MassRule):
        return judge_mass_rule(batch, rule=rule, form=form, required=one.required)
    if isinstance(rule, ContentRule):
        return judge_content_rule(batch, rule=rule, active=one.active, required=one.required)
    if isinstance(rule, DosageUnitRule):
        return judge_dosage_rule(batch, rule=rule, active=one.active, form=form, required=one.required)
    assert isinstance(rule, MeanMassRule), "checks of release are judged from the Checks sheet"
    return judge_mean_mass(batch, rule=rule, required=one.required)


def _without_form(batch: Batch, *, book: RuleBook, asked: Sequence[AskedTest]) -> tuple[TestResult, ...]:
    """What can be judged though the form is missing or unknown: contents against the label; the rest waits for it.

    Each kind of test waits once, under the first rule of the set that is of its kind.
    """
    near = nearest_forms(batch.dosage_form) if batch.dosage_form else ()
    form = batch.dosage_form or ""
    reason = message("advice.form_unknown", form=form, near=near[0].name if near else "")
    waiting: dict[str, str] = {}
    for line in book.set.asks:
        rule = book.rules[line.rule]
        if not is_of_release(rule) and not isinstance(rule, DosageUnitRule):
            waiting.setdefault(rule.test, rule.id)
    return (
        *(_judge_one(batch, one, form="") for one in asked),
        *(
            TestResult(
                id=test,
                rule=rule_id,
                verdict=Verdict.NOT_ASSESSED,
                missing=message("tests.known_form"),
                reasons=(reason,),
                required=True,
            )
            for test, rule_id in waiting.items()
        ),
    )


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


def _mass_limits(batch: Batch, asked: Sequence[AskedTest], *, form: str) -> tuple[MassBand | None, Fraction | None]:
    """The limits and the centre that masses are drawn against: those of the first mass rule asked for."""
    centre = sample_mean_g(mass_sample(batch))
    if centre is None:
        return None, None
    for one in asked:
        if isinstance(one.rule, MassRule):
            if one.rule.basis is MassBasis.LABELLED_MASS and batch.planned_mass_g is not None:
                centre = Fraction(batch.planned_mass_g)
            return band_for(one.rule, form=form, mean_mg=centre * 1000), centre
    return None, centre


def _form_note(form: Form | None) -> tuple[Notice, ...]:
    return (Notice(where="Batch, Dosage form", text=form.note),) if form is not None and form.note else ()


def _wrong_form(asked: Sequence[AskedTest], form: str) -> tuple[Remark, ...]:
    return tuple(
        Remark(where=one.rule.id, text=message("advice.asked_by_name", title=one.rule.title, form=form))
        for one in asked
        if (forms := kind_of(one.rule).asked_of(one.rule)) and form not in forms
    )


def _boundaries(asked: Sequence[AskedTest]) -> tuple[AcceptanceBoundary, ...]:
    found = []
    for one in asked:
        if isinstance(one.rule, DosageUnitRule) and one.active is not None:
            for stage, n in ((1, one.rule.first_size), (2, one.rule.first_size + one.rule.second_size)):
                points = acceptance_boundary(stage=stage, target_percent=one.active.target_percent, rule=one.rule)
                found.append(AcceptanceBoundary(active=one.active.name, n=n, points=points))
    return tuple(found)


def _rules_used(used: Sequence[Rule]) -> tuple[RuleUsed, ...]:
    rules = {rule.id: rule for rule in used}
    return tuple(
        RuleUsed(
            id=rule.id,
            title=rule.title,
            work=rule.reference.work,
            section=rule.reference.section,
            edition=rule.reference.edition,
            mark=rule.reference.mark.value,
            clauses=tuple(
                message("rules.clause", number=clause.number, text=clause.text, mark=clause.mark.value)
                for clause in rule.clauses
            ),
        )
        for rule in rules.values()
    )
