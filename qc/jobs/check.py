"""The main job: read a batch, judge it, write its report and its result document."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Batch, Superseded
from qc.document import result_document
from qc.fields.field import same_name
from qc.jobs.folder_name import plain_name
from qc.jobs.seal import Asked, sealed
from qc.judging.judge import judge_batch, priors_of
from qc.problems import Problem, gathering, tell_together
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.results import JudgedBatch, OperatingCurve, TestResult
from qc.rules.built_in import rule_ids, set_ids
from qc.rules.forms import find_form, form_within, nearest_forms, usual_mass_g
from qc.rules.kinds import dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.rule_books import RuleBook, rule_book

TO_ASSAY = "to-assay.xlsx"
"""The copy of a batch with the units to assay, in the folder of its report; contents may be typed into it."""
REPORTS = Path("reports")
REACH_OF_SD = 0.8
"""How far the curves reach, as a share of the limit of the acceptance value; no batch with more is likely to pass."""
POINTS_OF_CURVE = 41


class Checked(Struct, frozen=True, kw_only=True):
    """A judged batch with its full result document, `input` part included, and the rules it was judged by."""

    judged: JudgedBatch
    document: dict[str, object]
    book: RuleBook
    asked: Asked

    def to_draw(self) -> JudgedBatch:
        """The judged batch with the chances of passing that only a report draws, and the next pour."""
        return with_curves(self.to_tell(), book=self.book)

    def to_tell(self) -> JudgedBatch:
        """The judged batch with what to change of the next pour."""
        from qc.causes.next_pour import next_pour

        priors = priors_of(self.book, confirmed=self.asked.confirmed)
        return replace(self.judged, next_pour=next_pour(self.judged.batch, causes=self.judged.causes, priors=priors))

    def sealed(self, drawn: JudgedBatch | None = None) -> dict[str, object]:
        """The document with its seal; as it is filed beside a report, where it is given what that is drawn from."""
        return sealed(self.document, judged=self.judged, asked=self.asked, drawn=drawn)


def check_batch(
    path: Path,
    *,
    options: ReadOptions,
    rules: str | Path | None = None,
    seed: int | None = None,
    refused: Sequence[Problem] = (),
    at: datetime | None = None,
    blind: bool = False,
    confirmed: Mapping[str, int] = {},
    superseded: Callable[[Batch], Superseded | None] | None = None,
) -> Checked:
    """Read and judge one batch; nothing is written. `refused` is what is wrong with the call, to be told with the rest.

    `at` is when it is judged, which stands in the seal; now when it is None. `blind` leaves the causes out;
    `confirmed` is how often each was confirmed in the history of the house. `superseded` says of the batch as it was
    read what superseded the report of its input.

    Raises
    ------
    qc.problems.InputProblems
        When the input or the rules cannot be used.
    """
    at = at or datetime.now().astimezone()
    problems, batch, meant = list(refused), None, rules
    noticed: list[str] = []
    with gathering(problems, noticed):
        told = with_rule_words(options, rules_are_given=rules is not None, today=at.date())
        batch = read_batch(path, options=told)
        meant = rules if rules is not None else batch.rules
    with gathering(problems):
        book = rule_book(meant)
    tell_together(problems, refused, noticed)
    assert batch is not None
    if superseded is not None:
        batch = replace(batch, superseded=superseded(batch))
    asked = Asked(options=options, rules=meant, at=at, blind=blind, confirmed=confirmed)
    return checked_as_read(batch, book=book, seed=seed, asked=asked)


def checked_as_read(batch: Batch, *, book: RuleBook, asked: Asked, seed: int | None = None) -> Checked:
    """Judge a batch that was read, with its document."""
    judged = judge_batch(batch, book=book, seed=seed, blind=asked.blind, confirmed=asked.confirmed)
    return checked_by(judged, book=book, asked=asked)


def checked_by(judged: JudgedBatch, *, book: RuleBook, asked: Asked) -> Checked:
    """A judged batch with its document, which names the input where there was one."""
    document, source = result_document(judged), judged.batch.source
    named = {} if source is None else {"input": {"name": source.name, "sha256": source.sha256}}
    head = {key: document.pop(key) for key in ("schema", "qc_version")}
    return Checked(judged=judged, document=head | named | document, book=book, asked=asked)


def assay_list(judged: JudgedBatch) -> bytes | None:
    """A copy of the batch with the units to assay, marked, to be filed beside its report.

    Parameters
    ----------
    judged : JudgedBatch

    Returns
    -------
    bytes or None
        The workbook; None where no unit is to be assayed.
    """
    from qc.fields.entries import entries_of
    from qc.judging.to_assay import marked_for_assay
    from qc.workbook.entry import workbook_bytes

    marked = marked_for_assay(judged)
    return None if marked is None else workbook_bytes(entries_of(marked))


def with_rule_words(options: ReadOptions, *, rules_are_given: bool = False, today: date | None = None) -> ReadOptions:
    """Options by which unknown forms and rules, masses that no unit of the form has and days to come are refused.

    Parameters
    ----------
    options : ReadOptions
        What the call says.
    rules_are_given : bool
        Whether the call names the rules itself, so that the field Rules is not used.
    today : date or None
        The day on which it is judged; that of the clock when it is None.
    """
    known_rules = None if rules_are_given else frozenset((*set_ids(), *rule_ids()))
    asked = replace(options, known_rules=known_rules, today=today or date.today())
    names = {"form_meant": _form_meant, "form_name": _form_name, "form_within": _form_within}
    return replace(asked, **names, unit_range=usual_mass_g)


def _form_meant(text: str) -> str | None:
    if find_form(text) is not None:
        return None
    return next((form.name for form in nearest_forms(text, most=1)), "")


def _form_name(text: str) -> str:
    form = find_form(text)
    return same_name(text) if form is None else form.name


def _form_within(text: str) -> str:
    form = form_within(text)
    return form.name if form is not None and form.least_g is not None else ""


def with_curves(judged: JudgedBatch, *, book: RuleBook) -> JudgedBatch:
    """A judged batch with the operating curve of every dosage-unit test that has a mean and a spread.

    Parameters
    ----------
    judged : JudgedBatch
        As the judge left it.
    book : RuleBook
        The rules it was judged by.

    Returns
    -------
    JudgedBatch
        The same, with `operating_curves`.
    """
    curves = tuple(
        curve
        for test in judged.tests
        if (rule := dosage_units.KIND.own(book.rules.get(test.rule))) is not None
        and (curve := _of_test(test, rule)) is not None
    )
    return replace(judged, operating_curves=curves)


def _of_test(test: TestResult, rule: DosageUnitRule) -> OperatingCurve | None:
    from qc.assurance.operating import operating_curve

    mean, sd = test.figures.get("mean_percent"), test.figures.get("sd_percent")
    if mean is None or not sd or test.n < 2:
        return None
    target = test.figures.get("target_percent")
    target = 100.0 if target is None else float(target)
    top = max(float(rule.l1_percent) * REACH_OF_SD, 1.25 * float(sd))
    plan = dosage_units.KIND.plan(rule, target_percent=target)
    curve = operating_curve(plan=plan, rule=rule, mean=float(mean), reach=top, points=POINTS_OF_CURVE)
    return replace(curve, active=test.active, sample_sd_percent=float(sd))


def default_report_folder(judged: JudgedBatch, *, path: Path) -> Path:
    """Where a report goes when nobody says: reports/BATCH-NUMBER, or the name of the input where it has no number."""
    # Whatever a batch number holds, the folder stays one plain name below reports/, and no other number's.
    return REPORTS / plain_name(
        judged.batch.number or path.stem, beside=os.listdir(REPORTS) if os.access(REPORTS, os.R_OK) else ()
    )
