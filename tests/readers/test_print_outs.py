"""Lines that balances print and people paste, figures in any language, and text of old code pages."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from statistics import stdev

import pytest

from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

TableOf = Callable[..., Path]
TYPED = ["1.981", "1.991", "1.988", "2.014", "1.966", "1.993", "1.998", "2.003", "2.021", "1.979"]
MASSES = [Decimal(one) for one in TYPED]
FORM = ReadOptions(form="suppositories")


def masses(path: Path) -> list[Decimal | None]:
    return [unit.mass_g for unit in read_batch(path, options=FORM).units]


@pytest.mark.parametrize(
    "line",
    [
        "{0}:{1}g",
        "{0}: {1} g",
        "Unit {0} = {1} g",
        "{0} = {1}",
        "{0} - {1}",
        "{1},",
        "#{0:03d} + {1} g",
        "| {0} | {1} |",
    ],
)
@pytest.mark.parametrize("comma", [False, True])
def test_a_mass_a_line(table_of: TableOf, line: str, comma: bool) -> None:
    said = [line.format(at, one.replace(".", ",") if comma else one) for at, one in enumerate(TYPED, start=1)]
    assert masses(table_of("\n".join(said), name="units.txt")) == MASSES


def test_two_masses_a_line_are_a_grid(table_of: TableOf) -> None:
    lines = [" ".join(TYPED[at : at + 2]) for at in range(0, len(TYPED), 2)]
    assert masses(table_of("\n".join(lines), name="units.txt")) == MASSES


def test_a_table_that_is_drawn(table_of: TableOf) -> None:
    rule = "+----+-------+"
    lines = [rule, "| No | g     |", rule, *(f"| {at:2} | {one} |" for at, one in enumerate(TYPED, start=1)), rule]
    assert masses(table_of("\n".join(lines), name="units.txt")) == MASSES


def test_figures_before_the_masses_are_set_aside(table_of: TableOf) -> None:
    lines = ["n  10", "x  +  1.99340 g", "", *(f"#{at:03d} + {one} g" for at, one in enumerate(TYPED, start=1))]
    assert masses(table_of("\n".join(lines), name="units.txt")) == MASSES


SD = stdev(map(float, MASSES))


@pytest.mark.parametrize(
    ("label", "figure", "is_figure"),
    [
        ("Spreidingsmaat", f"{SD:.4f}", True),
        ("Wskaźnik", f"{SD:.2f}", True),
        ("Alles zusammen", f"{sum(MASSES)}", True),
        ("Variatie %", f"{100 * SD / float(sum(MASSES) / 10):.2f}", True),
        ("Spreidingsmaat", f"{SD + 0.001:.4f}", False),
        ("Reserve", "1.993", False),
        ("Reserve", "2.002", False),
    ],
)
def test_a_figure_that_no_unit_can_weigh_is_told_by_its_value(
    table_of: TableOf, label: str, figure: str, is_figure: bool
) -> None:
    rows = [f"{at};{one}" for at, one in enumerate(TYPED, start=1)]
    path = table_of("\n".join(["Nr;Gewicht (g)", *rows, f"{label};{figure}"]))
    if is_figure:
        assert masses(path) == MASSES
        return
    with pytest.raises(InputProblems, match="stands among units that are named otherwise"):
        masses(path)


@pytest.mark.parametrize(
    ("code_page", "name"), [("cp1250", "Windows-1250"), ("iso8859-2", "ISO 8859-2"), ("cp1252", "Windows-1252")]
)
def test_an_old_code_page_is_told_by_the_words(table_of: TableOf, code_page: str, name: str) -> None:
    mean, title = ("Média", "Observações") if code_page == "cp1252" else ("Średnia", "Jednolitość masy")
    rows = [f"{at}\t{one}" for at, one in enumerate(TYPED, start=1)]
    text = "\n".join([title, "Nr\tMasa (g)", *rows, f"{mean}\t1.9934"])
    path = table_of(text.encode(code_page), name="units.tsv")
    assert masses(path) == MASSES
    assert f"The text is not UTF-8 and was read as {name}." in str(read_batch(path, options=FORM).notices)


def test_a_broken_byte_is_no_letter_of_another_code_page(table_of: TableOf) -> None:
    rows = [f"{at}\t{one}\t" for at, one in enumerate(TYPED, start=1)]
    text = "\n".join(["Unit\tMass (g)\tSeen", *rows]).encode() + b"Z\xdclj\x8f"
    with pytest.raises(InputProblems, match=r"the file is no text \(byte \d+ is 0x8f\)"):
        masses(table_of(text, name="units.tsv"))


def test_a_row_called_g_is_no_gram(table_of: TableOf) -> None:
    rows = [f"{row};{1000 + 7 * at % 5};{1013 - 3 * at % 8}" for at, row in enumerate("ABCDEFGH")]
    path = table_of("\n".join(["Masa (mg)", ";1;2", *rows]))
    assert masses(path)[:2] == [Decimal("1.000"), Decimal("1.013")]


@pytest.mark.parametrize("line", ["{1} g", "N  {1} g", "{0}  {1} g"])
def test_the_moulds_of_a_print_out_are_read(table_of: TableOf, line: str) -> None:
    printed = [line.format(1 + at % 5, one) for at, one in enumerate(TYPED)]
    lines = ["Mould A", *printed[:5], "Mould B", *printed[5:]]
    units = read_batch(table_of("\n".join(lines), name="units.txt"), options=FORM).units
    assert [unit.mass_g for unit in units] == MASSES
    assert [unit.mould for unit in units] == ["Mould A"] * 5 + ["Mould B"] * 5
    with pytest.raises(InputProblems, match="Mould B"):
        read_batch(table_of("\n".join(lines[1:]), name="units.txt"), options=FORM)


def test_a_sign_over_a_mass_that_lacks_it_is_no_count(table_of: TableOf) -> None:
    lines = [f"{'N' if at != 6 else ' '}  {one} g" for at, one in enumerate(TYPED)]
    with pytest.raises(InputProblems, match="could be masses"):
        read_batch(table_of("\n".join(lines), name="units.txt"), options=FORM)
