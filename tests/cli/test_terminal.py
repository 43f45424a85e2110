"""The summary: the verdict first, figures beside limits, eighty columns whatever the names."""

from __future__ import annotations

from decimal import Decimal

import pytest
from msgspec.structs import replace

import qc
from qc.batch import Batch, ReadBack, Source, Unit
from qc.cli.terminal import short_summary, summary
from qc.problems import IgnoredCells
from qc.results import BatchVerdict, JudgedBatch, Limit, Outside, RuleUsed, TestResult, Verdict

LONG = "a very long name of a unit, an active or a product that no column of a terminal was made for, and longer still"


def told(what: str, figure: str, bound: str, *, met: bool | None) -> Limit:
    """A limit whose line says these words."""
    values = {"name": what, "result": figure, "spans": (), "limit": bound}
    return Limit(what="check_in_words", figure=None, met=met, values=values)


def judged(*, verdict: BatchVerdict = BatchVerdict.COMPLIES, name: str = "1") -> JudgedBatch:
    batch = Batch(units=(Unit(name=name, mass_g=Decimal("2.0")),), number="7", product=name)
    result = TestResult(
        id="mass-uniformity",
        rule="ph-eur-2.9.5",
        verdict=Verdict.COMPLIES,
        n=1,
        criteria=(Limit(what="units_weighed", figure=1, bound=20, met=True),),
    )
    rule = RuleUsed(id="ph-eur-2.9.5", title="Mass", work="Work", section="2.9.5", edition="11", mark="from memory")
    return JudgedBatch(batch=batch, rule_set="default", verdict=verdict, tests=(result,), rules_used=(rule,))


def with_test(name: str, **changes: object) -> JudgedBatch:
    base = judged(name=name)
    return replace(base, tests=(replace(base.tests[0], **changes),))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        (BatchVerdict.COMPLIES, "COMPLIES on mass alone of the units judged   batch 7, 1"),
        (BatchVerdict.DOES_NOT_COMPLY, "DOES NOT COMPLY   batch 7, 1"),
        (BatchVerdict.UNDECIDED, "UNDECIDED   batch 7, 1"),
    ],
)
def test_the_first_line_is_the_verdict_in_words(verdict: BatchVerdict, words: str) -> None:
    assert summary(judged(verdict=verdict)).splitlines()[0] == words


def test_the_mark_of_the_source_is_repeated() -> None:
    assert "  Work 2.9.5 (11), from memory [ph-eur-2.9.5]" in summary(judged()).splitlines()


@pytest.mark.parametrize("name", [LONG, "x" * 200, "Zäpfchen-äöü-ß" * 12])
def test_long_names_are_wrapped_and_never_cut(name: str) -> None:
    text = summary(
        with_test(
            name,
            verdict=Verdict.DOES_NOT_COMPLY,
            active=name,
            outside=(Outside(unit=name, deviation_percent=-12.5),),
            reasons=(f"Unit {name} deviates.",),
            criteria=(
                told(f"farthest from the {name}", f"+1.00 % (unit {name})", "5 %", met=False),
                told("units beyond 7.5 % of the labelled mass", "0 of 24", "at most 1", met=True),
            ),
        )
    )
    assert max(map(len, text.splitlines())) <= 80
    letters = "".join(text.split())
    assert letters.count("".join(name.split())) == 6
    assert "units beyond 7.5 % of the labelled mass: 0 of 24; at most 1; met" in text


def test_a_minus_is_one_every_terminal_knows() -> None:
    text = summary(with_test("1", reasons=("It lies −2.44 % off.",), verdict=Verdict.DOES_NOT_COMPLY))
    assert "It lies -2.44 % off." in text


def test_text_of_the_workbook_cannot_steer_the_terminal() -> None:
    text = summary(judged(name="7\x1b[31m\x07\u202e"))
    assert not set(text) & {"\x1b", "\x07", "\u202e"}


@pytest.mark.parametrize("left", [0, 1, 2, 9])
@pytest.mark.parametrize("name", ["week.xlsx", "suppositories of the third week of March, corrected.xlsx"])
def test_what_was_read_takes_two_lines_and_says_how_much_more_there_is(name: str, left: int) -> None:
    ignored = tuple(
        IgnoredCells(cells=f"{column}2:{column}25", what="column 'Colour'") for column in "CDEFGHIJK"[:left]
    )
    read = ReadBack(
        sheet="",
        cells="B2:B25",
        units=1,
        mass_unit="mg",
        mass_unit_known_by="size",
        decimal="comma",
        numbered=True,
        ignored=ignored,
    )
    batch = Batch(units=(Unit(name="1", mass_g=Decimal("2.0130")),), source=Source(name=name, sha256=""), read=read)
    lines = short_summary(replace(judged(), batch=batch)).splitlines()
    first = lines[: next(spot for spot, line in enumerate(lines[1:], start=1) if not line.startswith(" "))]
    assert (len(first) <= 2, max(map(len, first)) <= 80) == (True, True)
    assert "first 2013.0 mg, last 2013.0 mg, mean 2013.00 mg" in " ".join(map(str.strip, first))
    listed = summary(replace(judged(), batch=batch))
    assert all(f"{one.cells} column 'Colour' ignored" in listed for one in ignored)
    assert ("--full" in first[-1]) == (left > sum(one.cells in first[-1] for one in ignored))


def test_a_change_that_is_called_names_what_it_cannot_be_told_from() -> None:
    """Moulds that were not entered, a drift of the balance, neighbours alike for another reason: no test tells them."""
    units = tuple(
        Unit(name=str(at), mass_g=Decimal(2000 + 3 * at + at * 7 % 5) / 1000, pour_order=at) for at in range(1, 25)
    )
    found = qc.judge(Batch(dosage_form="suppository", units=units))
    said = " ".join(summary(found.judged).split())
    excluded = found.as_dict()["pour_trend"]["mass"]["not_excluded"]
    assert len(excluded) == 3
    assert all(one in said for one in excluded)
    assert "Slow swings of fill or temperature cannot be excluded" in said
