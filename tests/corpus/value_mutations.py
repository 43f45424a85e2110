"""Books in which one value was changed, each with what truly stands there: read exactly so, or refused.

What is true is worked out here from the text that was put in, by a rule of its own: a number is digits with at most one
point and a power of ten; anything else in a number cell is none.
"""

from __future__ import annotations

import random
import re
import struct
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from attacks import HEAD, OLD_HEAD, book, document, line, old_book, old_number, old_text, record, sheet, styles

COUNT = 20
_NUMBER = re.compile(r"\s*[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d+)?\s*", re.ASCII)

# What may stand in a number cell in place of a mass m: the text, with {m} for the mass and {d} for its digits.
TEXTS = (
    "{m}0", "{m}00000", "0{m}", "+{m}", "-{m}", " {m}", "{m} ", "\t{m}\n", "{m}e0", "{m}E+0", "{d}e-3", "{d}E-03",
    "0.{d}e1", "0.00{d}e3", "{m}e1", "{m}e-1", "{m}e3", "{m}e999", "{m}e-999", "{m}_0", "1_{m}", "{m}f", "{m}L",
    "{m}d", "0x{d}", "{m}j", "{m},0", "{comma}", "{m}.0", "..{d}", "{d}.", ".{d}", "{d}", "{wide}", "{arabic}",
    "{devanagari}", "{mathematical}", "\xb2{m}", "{m}\xb2", "{m}\xa0", "\u2212{m}", "{m} g", "{m} mg", "{m}g",
    "{m}%", "nan", "inf", "-inf", "NaN", "Infinity", "1e", "e1", "", " ", "-", "+", ".", "1/2", "{m}/1", "#N/A",
    "TRUE", "2026-01-02", "1:30", "{m}\u200b", "\ufeff{m}", "{m}\u0301", "O.{d}", "{m}O", "I{m}", "l.994",
    "{m}{m}", "{m} {m}", "{m};{m}", "{m}!", "({m})", "'{m}", "={m}", "{m}*", "~{m}", "<!-- x -->{m}", "{split}",
    "<![CDATA[{m}]]>", "{entity}", "{m}<x/>", "<x>{m}</x>", "{split_by_element}",
)  # fmt: skip
MARKUP = ("<!-- x -->{m}", "{split}", "<![CDATA[{m}]]>", "{entity}", "{m}<x/>", "<x>{m}</x>", "{split_by_element}")
KINDS_OF_XLSX = ("str", "b", "e", "d", "s", "inlineStr", "n", "x", "")
FORMATS = (
    "0.00%",
    '0.000" mg"',
    '0.000" g"',
    "dd.mm.yyyy",
    "h:mm",
    '0.000,"g"',
    "@",
    "0",
    "0.000",
    '0.0" kg"',
    "[h]:mm",
    "# ?/?",
)
KINDS_OF_ODS = ("float", "percentage", "currency", "string", "boolean", "date", "time", "", "number", "void")


@dataclass(frozen=True)
class Mutation:
    """A book, the masses [g] that truly stand in it by unit (None: no number there), and what was done."""

    name: str
    data: bytes
    truth: tuple[Decimal | None, ...]
    told: str


def digits_of(text: str, mass: Decimal) -> str:
    """A text with a mass put in."""
    plain = f"{mass}"

    def in_numerals(zero: int) -> str:
        return "".join(chr(zero + int(one)) if one.isdigit() else one for one in plain)

    return text.format(
        m=plain,
        d=plain.replace(".", ""),
        comma=plain.replace(".", ","),
        wide=in_numerals(0xFF10),
        arabic=in_numerals(0x0660),
        devanagari=in_numerals(0x0966),
        mathematical=in_numerals(0x1D7CE),
        split=f"{plain[:2]}<!-- x -->{plain[2:]}",
        split_by_element=f"{plain[:3]}<x/>{plain[3:]}",
        entity=f"{plain[:-1]}&#{ord(plain[-1])};",
    )


def stored(text: str) -> Decimal | None:
    """What a text in a number cell stands for; None where it is no number."""
    return Decimal(text.strip()) if _NUMBER.fullmatch(text) else None


def mutations(seed: int, count: int) -> Iterator[Mutation]:
    """Books of every kind, one value changed in each."""
    draws = random.Random(seed)
    makers: tuple[Callable[[random.Random, list[Decimal], int], Mutation], ...] = (
        _xlsx_text, _xlsx_text, _xlsx_kind, _xlsx_format, _xlsx_place,
        _ods_text, _ods_text, _ods_kind, _ods_repeat, _xls, _csv, _csv,
    )  # fmt: skip
    for at in range(count):
        masses = [Decimal(2) + Decimal(draws.randint(-48, 48)) / 1000 for _ in range(COUNT)]
        masses = [mass.quantize(Decimal("0.001")) for mass in masses]
        yield makers[at % len(makers)](draws, masses, draws.randrange(COUNT))


def _with(masses: list[Decimal], at: int, value: Decimal | None) -> tuple[Decimal | None, ...]:
    return tuple(value if one == at else mass for one, mass in enumerate(masses))


def _rows(masses: list[Decimal], at: int, cell: str) -> str:
    """The rows of a sheet part, the mass of one unit written by a cell of its own."""
    cells = (f'<c r="B{one + 2}"><v>{mass}</v></c>' for one, mass in enumerate(masses))
    lines = ((one + 2, cell if one == at else plain) for one, plain in enumerate(cells))
    return HEAD + "".join(f'<row r="{row}"><c r="A{row}"><v>{row - 1}</v></c>{inner}</row>' for row, inner in lines)


def _xlsx_text(draws: random.Random, masses: list[Decimal], at: int) -> Mutation:
    shape = draws.choice(TEXTS)
    text = digits_of(shape, masses[at])
    truth = masses[at] if shape in MARKUP[:5] else None if shape in MARKUP else stored(text)
    data = book(sheet=sheet(_rows(masses, at, f'<c r="B{at + 2}"><v>{text}</v></c>')))
    return Mutation("batch.xlsx", data, _with(masses, at, truth), f"stored as {text!r}")


def _xlsx_kind(draws: random.Random, masses: list[Decimal], at: int) -> Mutation:
    kind = draws.choice(KINDS_OF_XLSX)
    inner = f"<v>{masses[at]}</v>" if draws.random() < 0.7 else f"<is><t>{masses[at]}</t></is>"
    data = book(sheet=sheet(_rows(masses, at, f'<c r="B{at + 2}" t="{kind}">{inner}</c>')))
    return Mutation("batch.xlsx", data, tuple(masses), f"type {kind!r} with {inner}")


def _xlsx_format(draws: random.Random, masses: list[Decimal], at: int) -> Mutation:
    code = draws.choice(FORMATS)
    quoted = code.replace('"', "&quot;")
    rest = 'fontId="0" fillId="0" borderId="0"'
    looks = f'<xf numFmtId="0" {rest}/><xf numFmtId="170" {rest} applyNumberFormat="1"/>'
    part = styles(formats=f'<numFmt numFmtId="170" formatCode="{quoted}"/>', looks=looks)
    data = book(sheet=sheet(_rows(masses, at, f'<c r="B{at + 2}" s="1"><v>{masses[at]}</v></c>')), styles=part)
    shown = {"0.00%", '0.000" mg"', "dd.mm.yyyy", "h:mm", "[h]:mm", '0.000,"g"', '0.0" kg"'}
    return Mutation("batch.xlsx", data, _with(masses, at, None if code in shown else masses[at]), f"format {code}")


def _xlsx_place(draws: random.Random, masses: list[Decimal], at: int) -> Mutation:
    place = draws.choice(
        [f"B{at + 3}", f"B{at + 1}", f"A{at + 2}", f"C{at + 2}", f"b{at + 2}", f"B0{at + 2}", f"$B${at + 2}", "",
         f"B{at + 2}:B{at + 2}", f"B{at + 20000000}", f"AAAA{at + 2}", f"\uff22{at + 2}", "B", f"{at + 2}",
         f"B-{at + 2}", f"B{at + 2} "]
    )  # fmt: skip
    data = book(sheet=sheet(_rows(masses, at, f'<c r="{place}"><v>{masses[at]}</v></c>')))
    return Mutation("batch.xlsx", data, _with(masses, at, None), f"place {place!r}")


def _document(masses: list[Decimal], at: int, cell: str, *, look: str = "") -> bytes:
    lines = [line(f"{one}", f"{mass}") for one, mass in enumerate(masses, 1)]
    lines[at] = f"<table:table-row {look}>{line(f'{at + 1}')[17:-18]}{cell}</table:table-row>"
    return document(line("Unit", "Mass (g)") + "".join(lines))


def _ods_text(draws: random.Random, masses: list[Decimal], at: int) -> Mutation:
    shape = draws.choice([one for one in TEXTS if one not in MARKUP])
    text = digits_of(shape, masses[at])
    value = text.replace("\t", "&#9;").replace("\n", "&#10;")
    shown = f"<text:p>{masses[at]}</text:p>" if draws.random() < 0.5 else ""
    truth = stored(text)
    if shown and truth is not None and abs(truth - masses[at]) > Decimal("0.0005"):
        truth = None
    data = _document(
        masses, at, f'<table:table-cell office:value-type="float" office:value="{value}">{shown}</table:table-cell>'
    )
    return Mutation("batch.ods", data, _with(masses, at, truth), f"stored as {text!r}, shown as {shown!r}")


def _ods_kind(draws: random.Random, masses: list[Decimal], at: int) -> Mutation:
    kind, mass = draws.choice(KINDS_OF_ODS), masses[at]
    shown = draws.choice(
        [
            f"{mass}",
            f"{mass:.2f}",
            f"{mass:.1f}".replace(".", ","),
            f"{mass} mg",
            f"{mass} g",
            "9.999",
            f"{mass * 100} %",
            "",
        ]
    )
    value = draws.choice([f'office:value="{mass}"', ""])
    covered = draws.choice(["table-cell"] * 4 + ["covered-table-cell", "table-cel"])
    text = f"<text:p>{shown}</text:p>" if shown else ""
    cell = f'<table:{covered} office:value-type="{kind}" {value}>{text}</table:{covered}>'
    number = kind in ("float", "currency") and bool(value) and not shown.endswith(("mg", "%")) and shown != "9.999"
    whole = (
        Decimal(shown.removesuffix(" g").replace(",", "."))
        if kind in ("string", "") and not value and shown and shown[-1] not in "m%" and "mg" not in shown
        else None
    )
    truth = mass if number else whole
    if kind not in KINDS_OF_ODS[:7] and whole is not None:
        truth = whole
    if covered != "table-cell":
        truth = None
    told = f"{covered} of type {kind!r} with {value} and {shown!r}"
    return Mutation("batch.ods", _document(masses, at, cell), _with(masses, at, truth), told)


def _ods_repeat(draws: random.Random, masses: list[Decimal], at: int) -> Mutation:
    times = draws.choice(
        ["0", "-1", "-2", "1", "01", "1_0", " 1", "1.0", "1e0", "\u0661", "+1", "99999999999", "", "x"]
    )
    what = draws.choice(["table:number-columns-repeated", "table:number-rows-repeated", "table:number-rows-spanned"])
    in_row = what == "table:number-rows-repeated"
    said = f'{what}="{times}"'
    cell = f'<table:table-cell office:value-type="float" office:value="{masses[at]}" {"" if in_row else said}/>'
    data = _document(masses, at, cell, look=said if in_row else "")
    return Mutation("batch.ods", data, _with(masses, at, masses[at] if times == "1" else None), f"{what} {times!r}")


def _xls(draws: random.Random, masses: list[Decimal], at: int) -> Mutation:
    mass = float(masses[at])
    cells = [old_number(one + 1, 0, one + 1) + old_number(one + 1, 1, float(value)) for one, value in enumerate(masses)]
    other = draws.choice([float(masses[at - 1]), mass * 1000, float("nan"), float("inf"), -mass, 0.0, 5e-324, mass])
    own: dict[str, tuple[bytes, Decimal | None]] = {
        "another number": (old_number(at + 1, 1, other), stored(repr(other)) if other == other else None),
        "twice": (old_number(at + 1, 1, mass) + old_number(at + 1, 1, other), None),
        "twice, blank behind": (old_number(at + 1, 1, mass) + record(0x201, struct.pack("<HHH", at + 1, 1, 0)), None),
        "in the next row": (old_number(at + 2, 1, mass), None),
        "as a text": (old_text(at + 1, 1, f"{masses[at]}"), masses[at]),
        "as another text": (old_text(at + 1, 1, draws.choice(["2.O13", "x", "2,0.1", "1_9"])), None),
        "as true": (record(0x205, struct.pack("<HHHBB", at + 1, 1, 0, 1, 0)), None),
        "as an error": (record(0x205, struct.pack("<HHHBB", at + 1, 1, 0, 7, 1)), None),
        "size cut": (struct.pack("<HH", 0x203, 10) + old_number(at + 1, 1, mass)[4:14], None),
        "dimension within": (record(0x200, struct.pack("<LLHHH", 0, 3, 0, 2, 0)), None),
        "end within": (record(0x0A), None),
    }
    name = draws.choice(list(own))
    content, truth = own[name]
    cells[at] = old_number(at + 1, 0, at + 1) + content
    data = old_book(OLD_HEAD + b"".join(cells), dimensions=(0, COUNT + 1, 0, 2))
    return Mutation("batch.xls", data, _with(masses, at, truth), f"{name} {other}")


def _csv(draws: random.Random, masses: list[Decimal], at: int) -> Mutation:
    shape = draws.choice([one for one in TEXTS if one not in MARKUP])
    text = digits_of(shape, masses[at])
    field = f'"{text}"' if any(one in text for one in ',;"\n\t') else text
    lines = [f"{one},{field if one - 1 == at else mass}" for one, mass in enumerate(masses, 1)]
    # Digits with a comma are read with it as a decimal mark only where the file has no points; a unit may stand behind.
    bare = text.strip().removesuffix("g").rstrip() if text.strip().endswith("g") and "mg" not in text else text
    truth = stored(bare.replace("\u00a0", " ").replace("\u2212", "-"))
    data = ("Unit,Mass (g)\n" + "\n".join(lines) + "\n").encode()
    return Mutation("batch.csv", data, _with(masses, at, truth), f"typed as {text!r}")
