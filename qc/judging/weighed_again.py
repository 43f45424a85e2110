"""Units that were put on the balance twice: which of their two masses counts, and what hangs on it.

The second mass counts once the reason stands beside it and a second person is named under Checked by; until then the
first one does. A test whose verdict would be another with the other mass is left open: nobody weighs a batch into
compliance.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from msgspec.structs import replace

from qc.batch import Batch, Unit
from qc.fields.field import same_name
from qc.judging.advice import OPEN_FINDINGS
from qc.results import JudgedBatch, Message, Remark, TestResult, Verdict, message, named_together


def second_counts(batch: Batch, unit: Unit) -> bool:
    """Whether the second mass of a unit counts: it has a reason, and somebody else than who weighed checked it."""
    return unit.weighed_again_g is not None and bool(unit.weighed_again_because) and _checked(batch)


def _checked(batch: Batch) -> bool:
    """Whether somebody other than who weighed stands under Checked by."""
    return bool(batch.checked_by) and same_name(batch.checked_by or "") != same_name(batch.weighed_by or "")


def with_counting_masses(batch: Batch, *, second: Sequence[str] = ()) -> Batch:
    """The batch with the mass of each unit that counts under `mass_g` [g].

    Parameters
    ----------
    batch : Batch
    second : sequence of str
        Units whose second mass is taken although it does not count.
    """
    if not _weighed_twice(batch):
        return batch
    units = [
        replace(unit, mass_g=unit.weighed_again_g)
        if second_counts(batch, unit) or (unit.name in second and unit.weighed_again_g is not None)
        else unit
        for unit in batch.units
    ]
    return replace(batch, units=tuple(units))


def judged_by_both_masses(judge: Callable[[Batch], TestResult], batch: Batch) -> TestResult:
    """The result of a test by the masses that count; left open where one of the others would give another verdict.

    Parameters
    ----------
    judge : callable
        Judges a batch by the masses under `mass_g`.
    batch : Batch
        As it was entered.
    """
    record = judge(with_counting_masses(batch))
    for second in _in_question(batch):
        other = judge(with_counting_masses(batch, second=second))
        if other.verdict is not record.verdict:
            said = message("tests.masses_differ", units=second, first=record.verdict, second=other.verdict)
            return replace(
                record,
                verdict=Verdict.NOT_ASSESSED,
                required=True,
                more_units=0,
                reasons=(said, *record.reasons),
                missing=_lacking(batch, second),
                criteria=tuple(replace(limit, met=None) for limit in record.criteria),
            )
    return record


def beside_first(judge: Callable[[Batch], JudgedBatch], batch: Batch) -> JudgedBatch:
    """A judged batch, with every verdict and finding that the second masses which count have turned.

    Parameters
    ----------
    judge : callable
        Judges a batch as it was entered.
    batch : Batch
    """
    record = judge(batch)
    counting = [unit for unit in _weighed_twice(batch) if second_counts(batch, unit)]
    if not counting:
        return record
    units = [replace(unit, weighed_again_g=None) if unit in counting else unit for unit in batch.units]
    first = judge(replace(batch, units=tuple(units)))
    masses = [(one.name, one.mass_g, one.weighed_again_g) for one in counting]
    verdicts = {_named(test): test.verdict for test in first.tests}
    tests = []
    for test in record.tests:
        before = verdicts.get(_named(test), test.verdict)
        said = message(
            "tests.corrected", test=test.id, active=test.active or "", masses=masses, first=before, now=test.verdict
        )
        tests.append(test if before is test.verdict else replace(test, reasons=(*test.reasons, said)))
    then, now = _findings(first), _findings(record)
    gone, new = ([one[key] for key in one if key not in other] for one, other in ((then, now), (now, then)))
    text = message("remarks.corrected", masses=masses, first=gone, now=new)
    notices = [Remark(where="Units, Weighed again (g)", text=text)] if gone or new else []
    return replace(record, tests=tuple(tests), notices=(*record.notices, *notices))


def _named(test: TestResult) -> tuple[str | None, ...]:
    return test.id, test.rule, test.active, test.subject


def _findings(judged: JudgedBatch) -> dict[tuple[object, ...], Message]:
    """What was found besides the verdicts and may go by masses, by what tells one finding from another."""
    trend, groups = judged.pour_trend, named_together(judged.causes)
    series = {} if trend is None else {"": trend.mass, **trend.concentration}
    found: dict[tuple[object, ...], Message] = {
        ("pour", name, one.flag): message("remarks.along", active=name, flag=one.flag) for name, one in series.items()
    }
    if groups:
        found["causes", groups[0].ids] = message("remarks.likeliest", causes=groups[0].ids)
    remarks = (one.text for one in judged.notices if isinstance(one, Remark) and one.text.id in OPEN_FINDINGS)
    for one in (*judged.mould_findings, *remarks):
        found[one.id, one.values.get("mould"), one.values.get("active")] = one
    return found


def _lacking(batch: Batch, names: Sequence[str]) -> Message:
    """What the second masses of some units lack before they count."""
    unreasoned = [one.name for one in batch.units if one.name in names and not one.weighed_again_because]
    in_a_book = batch.read is None or bool(batch.read.sheet)
    return message("tests.second_weighing", unreasoned=unreasoned, checked=_checked(batch), in_a_book=in_a_book)


def _weighed_twice(batch: Batch) -> list[Unit]:
    return [unit for unit in batch.units if unit.weighed_again_g is not None]


def _in_question(batch: Batch) -> Iterator[tuple[str, ...]]:
    """Units whose second mass does not count yet: each by itself, then all of them together."""
    names = [unit.name for unit in _weighed_twice(batch) if not second_counts(batch, unit)]
    yield from ((name,) for name in names)
    if len(names) > 1:
        yield tuple(names)
