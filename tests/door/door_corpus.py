"""The files of the corpus: layouts and decorations of real pharmacies' sheets, each with what is true of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, time
from decimal import Decimal
from itertools import cycle
from statistics import mean, stdev
from typing import Any

from door_published import published
from door_sheets import Case, Formula, Row, Rows, Sheet, Unit, drawn, listed, side_by_side, typed, units
from door_words import AROUND, HEADED, SUM_LABELS

SUPPOSITORIES = {"form": "suppositories"}


def one(rows: Rows, title: str = "Sheet1", **more: Any) -> dict[str, Sheet]:
    """A book of one sheet."""
    return {title: Sheet(rows, **more)}


def sums(masses: Sequence[Decimal]) -> dict[str, Decimal]:
    """What a sheet says of its own masses, to a digit more than they have."""
    average, spread = mean(masses), Decimal(stdev(masses))
    return {
        "mean": average.quantize(Decimal("0.0001")),
        "sd": spread.quantize(Decimal("0.0001")),
        "sum": sum(masses, Decimal(0)),
    }


def lists() -> Iterator[Case]:
    """Lists with headings in eight languages, with titles, notes, sums; in every format."""
    writers = cycle(
        (
            "xlsxwriter",
            "openpyxl",
            "ods",
            "csv de",
            "xls",
            "csv fr",
            "resaved",
            "csv pl",
            "csv en",
            "csv it",
            "tsv nl",
            "csv en bom",
        )
    )
    titles = cycle(
        ("Sheet1", "Tabelle1", "Wägung", "weights", "QC 2024-01", "Feuil1", "Hoja1", "Foglio1", "Blad1", "Arkusz1")
    )
    for language, pairs in HEADED.items():
        title, note = AROUND[language]
        mean_label = SUM_LABELS[language].split("|")[0]
        for at, heads in enumerate(pairs):
            masses = drawn(20, heads)
            rows = listed(masses, heads)
            if at % 2:
                rows = [[title], [], *rows]
            if at:
                rows += [[], [mean_label, sums(masses)["mean"]], [], [note]]
            yield Case(
                f"list, {language}", one(rows, next(titles)), units(masses), next(writers), options=SUPPOSITORIES
            )


def units_of_mass() -> Iterator[Case]:
    """The unit of mass in each usual place, and in none."""
    mg = [m.scaleb(3).quantize(Decimal(1)) for m in drawn(20, "mg")]
    grams = drawn(20, "mg")
    cases: dict[str, tuple[Rows, str]] = {
        "comma": (listed(grams, ("Unit", "Mass, g")), "xlsxwriter"),
        "slash": (listed(grams, ("Nr", "Masse / g")), "csv de"),
        "square": (listed(grams, ("Unit", "Weight [g]")), "ods"),
        "blank": (listed(grams, ("Unit", "weight g")), "openpyxl"),
        "word": (listed(grams, ("Unit", "Weight (grams)")), "xlsxwriter"),
        "Gramm": (listed(grams, ("Nr.", "Gewicht in Gramm")), "csv de"),
        "row below": ([["Unit", "Mass"], [None, "g"], *listed(grams)[1:]], "xlsxwriter"),
        "row below in brackets": ([["Unit", "Mass"], [None, "[mg]"], *listed(mg)[1:]], "openpyxl"),
        "mg": (listed(mg, ("Unit", "Mass (mg)")), "xlsxwriter"),
        "mg in German": (listed(mg, ("Nr.", "Masse [mg]")), "csv de"),
        "none, grams": (listed(grams, ("Unit", "Mass")), "xlsxwriter"),
        "none, milligrams": (listed(mg, ("Unit", "Weight")), "xls"),
        "title": ([["All weights in g"], [], *listed(grams, ("Unit", "Weight"))], "xlsxwriter"),
        "with the number": (listed([f"{m} g" for m in grams], ("Unit", "Weight")), "openpyxl"),
        "with the number, closed up": (listed([f"{typed(m, ',')}g" for m in grams], ("Nr.", "Gewicht")), "csv de"),
        "with the number, mg": (listed([f"{m} mg" for m in mg], ("Unit", "Weight")), "csv en"),
        "column": (
            [["Unit", "Weight", "Unit of mass"], *([at, m, "g"] for at, m in enumerate(grams, 1))],
            "xlsxwriter",
        ),
        "numbers as text": (listed([typed(m, ",") for m in grams], ("Nr.", "Masse (g)")), "xlsxwriter"),
        "numbers as text, point": (listed([str(m) for m in grams], ("Unit", "Mass (g)")), "openpyxl"),
        "capitals": (listed(grams, ("TABLET", "WEIGHT(G)")), "xlsxwriter"),
    }
    for place, (rows, writer) in cases.items():
        options = SUPPOSITORIES | ({"decimal": "comma"} if place == "numbers as text" else {})
        yield Case(f"unit of mass: {place}", one(rows), units(grams), writer, options=options)
    for writer in ("xlsxwriter", "csv en"):
        yield Case(
            "unit of mass: grams under mg",
            one(listed(grams, ("Unit", "Mass (mg)"))),
            (),
            writer,
            "refuse",
            SUPPOSITORIES,
        )
        yield Case(
            "unit of mass: mg under grams", one(listed(mg, ("Unit", "Mass (g)"))), (), writer, "refuse", SUPPOSITORIES
        )
    yield Case(
        "unit of mass: by the call",
        one(listed(grams, ("Unit", "Mass"))),
        units(grams),
        options=SUPPOSITORIES | {"mass_unit": "g"},
    )
    yield Case(
        "unit of mass: percent only",
        one(listed([m * 50 for m in grams], ("Unit", "% of mean"))),
        (),
        "xlsxwriter",
        "refuse",
        SUPPOSITORIES,
    )


def bare() -> Iterator[Case]:
    """Lists without headings, and text pasted into cells."""
    masses = drawn(20, "bare")
    numbered = [[at, m] for at, m in enumerate(masses, 1)]
    column = [[m] for m in masses]
    comma = [typed(m, ",") for m in masses]
    sheets: dict[str, tuple[Rows, str]] = {
        "two columns": (numbered, "xlsxwriter"),
        "two columns, csv": (numbered, "csv en"),
        "two columns, German csv": (numbered, "csv de"),
        "one column": (column, "xlsxwriter"),
        "one column, csv": (column, "csv en"),
        "one column, German": (column, "csv de"),
        "one column under a title": ([["Zäpfchen Charge 12"], [], *column], "xlsxwriter"),
        "one column with units": ([[f"{m} g"] for m in masses], "xlsxwriter"),
        "one row": ([list(masses)], "xlsxwriter"),
        "column heading only": ([["Weight (g)"], *column], "openpyxl"),
        "labels U1, U2": ([[f"U{at}", m] for at, m in enumerate(masses, 1)], "xlsxwriter"),
        "one cell, lines": ([["\n".join(map(str, masses))]], "xlsxwriter"),
        "one cell, semicolons": ([["; ".join(comma)]], "xlsxwriter"),
        "one cell, blanks": ([[" ".join(map(str, masses))]], "openpyxl"),
        "one cell, title beside": ([["Weights of batch 7 in g"], ["; ".join(map(str, masses))]], "openpyxl"),
        "column of pasted lines": ([[f"{at}\t{m}"] for at, m in enumerate(masses, 1)], "xlsxwriter"),
        "column of pasted lines, g": ([[f"{at}. {m} g"] for at, m in enumerate(masses, 1)], "xlsxwriter"),
    }
    for what, (rows, writer) in sheets.items():
        named = what.startswith(("two", "labels U", "column of"))
        truth = tuple(
            Unit(m, name=f"U{at}" if "U1" in what else str(at) if named else None) for at, m in enumerate(masses, 1)
        )
        yield Case(f"bare: {what}", one(rows), truth, writer, options=SUPPOSITORIES)
    none = units(masses, named=False)
    for suffix, text in {
        "txt, a number a line": "\n".join(map(str, masses)),
        "txt, commas in decimals": "\r\n".join(comma),
        "txt, one line": " ".join(map(str, masses)),
        "txt, one line, commas": "; ".join(comma),
        "txt, title": "Weights in g\n\n" + "\n".join(map(str, masses)),
    }.items():
        yield Case(f"bare: {suffix}", text, none, "txt", options=SUPPOSITORIES)
    numbered_text = "\n".join(f"{at}) {m} g" for at, m in enumerate(masses, 1))
    yield Case("bare: txt, numbered", numbered_text, units(masses), "txt", options=SUPPOSITORIES)


def blocks() -> Iterator[Case]:
    """Blocks side by side, one a mould; a second block is never left out."""
    moulds = {"A": drawn(10, "A"), "B": drawn(10, "B", light="0.8"), "C": drawn(10, "C")}
    truth = tuple(Unit(m, mould=name) for name, masses in moulds.items() for m in masses)
    nameless = tuple(Unit(unit.mass) for unit in truth)
    titled = [[[f"Mould {name}"], *listed(masses)] for name, masses in moulds.items()]
    bare_blocks = [listed(masses, ("No.", "Weight (g)")) for masses in moulds.values()]
    running = [listed(masses, ("No.", "Weight (g)"), first=at * 10 + 1) for at, masses in enumerate(moulds.values())]
    columns = [
        ["Cavity", *(f"Mould {name} (g)" for name in moulds)],
        *([at, *row] for at, row in enumerate(zip(*moulds.values(), strict=True), 1)),
    ]
    means = [[[f"Mould {name}"], *listed(masses), ["Mean", sums(masses)["mean"]]] for name, masses in moulds.items()]
    german = [[[f"Form {name}"], *listed(masses, ("Nr.", "Masse (g)"))] for name, masses in moulds.items()]
    stacked = [row for block in titled for row in [*block, []]]
    sheets: list[tuple[str, Rows, tuple[Unit, ...], str]] = [
        ("titled", side_by_side(*titled), truth, "xlsxwriter"),
        ("titled, no gap", side_by_side(*titled, gap=0), truth, "openpyxl"),
        ("titled, csv", side_by_side(*titled), truth, "csv en"),
        ("titled, in German", side_by_side(*german), truth, "csv de"),
        ("titled, ods", side_by_side(*titled, gap=2), truth, "ods"),
        ("without titles", side_by_side(*bare_blocks), nameless, "xlsxwriter"),
        ("numbers run on", side_by_side(*running), units([u.mass for u in truth]), "xlsxwriter"),
        ("numbers run on, no gap", side_by_side(*running, gap=0), units([u.mass for u in truth]), "xls"),
        ("one number column", columns, truth, "xlsxwriter"),
        ("means below", side_by_side(*means), truth, "xlsxwriter"),
        ("one above another", stacked, truth, "openpyxl"),
        (
            "two below a merged title",
            [["Weights in g", None, None, None, None], *side_by_side(*titled[:2])],
            truth[:20],
            "xlsxwriter",
        ),
    ]
    for what, rows, units_there, writer in sheets:
        yield Case(f"blocks: {what}", one(rows), units_there, writer, options=SUPPOSITORIES)
    uneven = side_by_side(titled[0], titled[1][:-3])
    yield Case("blocks: of uneven length", one(uneven), truth[:17], options=SUPPOSITORIES)
    far = side_by_side(titled[0], titled[1], gap=6)
    yield Case("blocks: far apart", one(far), truth[:20], options=SUPPOSITORIES)


def grids() -> Iterator[Case]:
    """Grids of cavities, with labels and without; units across."""
    masses = drawn(24, "grid")
    by_row = [masses[at : at + 6] for at in range(0, 24, 6)]
    labelled = tuple(
        Unit(m, cavity=f"{'ABCD'[at]}{across}") for at, row in enumerate(by_row) for across, m in enumerate(row, 1)
    )
    plain = units(masses, named=False)
    letters = [[None, *range(1, 7)], *([letter, *row] for letter, row in zip("ABCD", by_row, strict=True))]
    moulds = [["Cavity", *(f"Mould {n}" for n in range(1, 7))], *([at, *row] for at, row in enumerate(by_row, 1))]
    in_moulds = tuple(
        Unit(m, mould=str(n), cavity=str(at)) for at, row in enumerate(by_row, 1) for n, m in enumerate(row, 1)
    )
    row_heads = [["Row / column", *range(1, 7)], *([f"Row {at}", *row] for at, row in enumerate(by_row, 1))]
    with_means = [[*letters[0], "Mean"], *([*row, mean(row[1:]).quantize(Decimal("0.0001"))] for row in letters[1:])]
    sheets: list[tuple[str, Rows, tuple[Unit, ...], str]] = [
        ("letters and numbers", letters, labelled, "xlsxwriter"),
        ("letters and numbers under a title", [["Weights (g) by cavity"], [], *letters], labelled, "openpyxl"),
        ("letters and numbers, csv", letters, labelled, "csv de"),
        ("without labels", by_row, plain, "xlsxwriter"),
        ("without labels, csv", by_row, plain, "csv en"),
        ("without labels under a title", [["Gewichte in g"], *by_row], plain, "csv de"),
        ("moulds across", [["Masses (g)"], *moulds], in_moulds, "xlsxwriter"),
        ("rows named", [["Mass (g)"], *row_heads], plain, "xls"),
        ("means at the side", [["Weight (g)"], *with_means], plain, "xlsxwriter"),
        ("across", [["Unit", *range(1, 25)], ["Mass (g)", *masses]], units(masses), "xlsxwriter"),
        ("across, German csv", [["Nr.", *range(1, 25)], ["Masse (g)", *masses]], units(masses), "csv de"),
        (
            "across with mean",
            [["Unit", *range(1, 25), "Mean"], ["Mass (g)", *masses, sums(masses)["mean"]]],
            units(masses),
            "openpyxl",
        ),
        (
            "across in two rows",
            [
                ["Unit", *range(1, 13)],
                ["Mass (g)", *masses[:12]],
                [],
                ["Unit", *range(13, 25)],
                ["Mass (g)", *masses[12:]],
            ],
            units(masses),
            "xlsxwriter",
        ),
    ]
    for what, rows, there, writer in sheets:
        yield Case(f"grid: {what}", one(rows), there, writer, options=SUPPOSITORIES)


def batches() -> Iterator[Case]:
    """Several batches in one book: picked by sheet or by batch, never one of them in silence."""
    first, second = drawn(20, "first"), drawn(20, "second")
    sheets = {"Batch 101": Sheet(listed(first)), "Batch 102": Sheet(listed(second))}
    yield Case("batches: by sheet, none named", sheets, (), allowed="refuse", options=SUPPOSITORIES)
    for title, masses in (("Batch 101", first), ("Batch 102", second)):
        yield Case(
            "batches: by sheet, named", sheets, units(masses), "openpyxl", options=SUPPOSITORIES | {"sheet": title}
        )
    rows = [
        ["Batch", "Unit", "Mass (g)"],
        *(["101", at, m] for at, m in enumerate(first, 1)),
        *(["102", at, m] for at, m in enumerate(second, 1)),
    ]
    for writer in ("xlsxwriter", "csv en"):
        yield Case("batches: by column, none named", one(rows), (), writer, "refuse", SUPPOSITORIES)
        yield Case(
            "batches: by column, named", one(rows), units(second), writer, options=SUPPOSITORIES | {"batch": "102"}
        )
    lot = [["Charge", "Nr.", "Masse (g)"], *rows[1:]]
    yield Case(
        "batches: by column, in German", one(lot), units(first), "csv de", options=SUPPOSITORIES | {"batch": "101"}
    )
    side = side_by_side(
        *([[f"Batch {number}"], *listed(masses)] for number, masses in (("101", first), ("102", second)))
    )
    yield Case("batches: side by side, none named", one(side), (), allowed="refuse", options=SUPPOSITORIES)
    yield Case("batches: side by side, named", one(side), units(second), options=SUPPOSITORIES | {"batch": "102"})
    wide = [
        ["Unit", "Batch 101 (g)", "Batch 102 (g)"],
        *([at, *pair] for at, pair in enumerate(zip(first, second, strict=True), 1)),
    ]
    yield Case("batches: columns, none named", one(wide), (), allowed="refuse", options=SUPPOSITORIES)
    yield Case("batches: columns, named", one(wide), units(first), options=SUPPOSITORIES | {"batch": "101"})
    aside = {
        "Notes": Sheet([["Cleaned on", "12.01.2024"], ["Water bath", 45]]),
        "Wägung": Sheet(listed(first)),
        "Tabelle3": Sheet([]),
    }
    yield Case("batches: one table among other sheets", aside, units(first), "openpyxl", options=SUPPOSITORIES)
    prices = {
        "Daten": Sheet(listed(first)),
        "Lager": Sheet([["Artikel", "Menge"], ["Hartfett", 2.5], ["Paracetamol", 1.75], ["Folie", 2.0]]),
    }
    yield Case("batches: stock list beside", prices, units(first), options=SUPPOSITORIES)


def balance() -> Iterator[Case]:
    """Print-outs of balances: value, unit, stability sign, time and number in any order."""
    masses = drawn(20, "balance")
    bare_units = units(masses, named=False)
    clock = [f"10:{30 + at // 4:02}:{at % 4 * 15:02}" for at in range(20)]
    comma = [typed(m, ",") for m in masses]
    own = sums(masses)
    statistics = (
        f"\n--------\nn        20\nx        {own['mean']} g\ns dev    {own['sd']} g\ns rel    1.31 %\n"
        f"min.     {min(masses)} g\nmax.     {max(masses)} g\n"
    )
    texts: dict[str, tuple[str, tuple[Unit, ...]]] = {
        "sign, value, unit": ("\n".join(f"N     +    {m} g" for m in masses), bare_units),
        "stable in words": ("\n".join(f"S S      {m} g" for m in masses), bare_units),
        "ST,NT": ("\n".join(f"ST,NT,+00{m} g" for m in masses), bare_units),
        "ST,GS": ("\r\n".join(f"ST,+0000{m}  g" for m in masses), bare_units),
        "value, unit, time": ("\n".join(f"   {m} g   {at}" for m, at in zip(masses, clock, strict=True)), bare_units),
        "date, time, value": (
            "\n".join(f"15.01.2024 {at}  {m} g" for m, at in zip(comma, clock, strict=True)),
            bare_units,
        ),
        "number, value": ("\n".join(f"{at:3}   N    {m} g" for at, m in enumerate(masses, 1)), units(masses)),
        "number, dot": ("\n".join(f"{at:03}.   {m}g" for at, m in enumerate(masses, 1)), units(masses)),
        "with its head": (
            "15.Jan.2024   10:32\nBalance Type  XS204\nSNR   1127345678\nID  240117\n\n"
            + "\n".join(f"  {at:2}    {m} g" for at, m in enumerate(masses, 1)),
            units(masses),
        ),
        "with its statistics": (
            "\n".join(f"  {at:2}    {m} g" for at, m in enumerate(masses, 1)) + statistics,
            units(masses),
        ),
        "decimal comma": ("\n".join(f"+  {m} g" for m in comma), bare_units),
        "ID before": ("\n".join(f"ID {at}\nN  {m} g\n" for at, m in enumerate(masses, 1)), units(masses, named=False)),
    }
    for what, (text, truth) in texts.items():
        yield Case(f"balance: {what}", text, truth, "txt", options=SUPPOSITORIES)
    tables: dict[str, tuple[Row, list[list[Any]]]] = {
        "logged": (
            ("Date", "Time", "ID", "Value", "Unit", "Stable"),
            [[date(2024, 1, 15), c, at, m, "g", "S"] for at, (c, m) in enumerate(zip(clock, masses, strict=True), 1)],
        ),
        "value first": (("Weight", "Unit", "Status", "Sample"), [[m, "g", "ST", at] for at, m in enumerate(masses, 1)]),
        "German": (
            ("Datum", "Uhrzeit", "Nr.", "Gewicht", "Einheit"),
            [[date(2024, 1, 15), c, at, m, "g"] for at, (c, m) in enumerate(zip(clock, masses, strict=True), 1)],
        ),
    }
    for (what, (heads, rows)), writer in zip(tables.items(), ("csv en", "csv fr", "csv de"), strict=True):
        yield Case(f"balance: csv, {what}", one([list(heads), *rows]), units(masses), writer, options=SUPPOSITORIES)
    bare_rows = [[date(2024, 1, 15), c, m, "g", "S"] for c, m in zip(clock, masses, strict=True)]
    yield Case("balance: csv without headings", one(bare_rows), bare_units, "csv de", options=SUPPOSITORIES)
    yield Case(
        "balance: pasted into a sheet", one([[f"N  +  {m} g"] for m in masses]), bare_units, options=SUPPOSITORIES
    )
    unstable = "\n".join(f"{'US' if at == 7 else 'ST'},NT,+  {m} g" for at, m in enumerate(masses))
    yield Case(
        "balance: a reading that was not stable",
        unstable,
        bare_units[:7] + bare_units[8:],
        "txt",
        "either",
        SUPPOSITORIES,
    )
    moving = "\n".join(f"S {'D' if at == 7 else 'S'}   {m} g" for at, m in enumerate(masses))
    yield Case("balance: a dynamic reading", moving, bare_units[:7] + bare_units[8:], "txt", "either", SUPPOSITORIES)
    three = "\n".join(f"G   {m + 1} g\nT   1.000 g\nN   {m} g" for m in masses)
    yield Case("balance: gross, tare, net", three, bare_units, "txt", "either", SUPPOSITORIES)
    checked = f"Check weight\nN  2.000 g\nBatch 7\n{texts['sign, value, unit'][0]}"
    yield Case("balance: check weight first", checked, bare_units, "txt", "either", SUPPOSITORIES)
    zero = "N  0.000 g\n" + "\n".join(f"N  {m} g\nN  0.000 g" for m in masses)
    yield Case("balance: zeros between", zero, bare_units, "txt", "either", SUPPOSITORIES)


def sum_rows() -> Iterator[Case]:
    """One row more that sums up or is no unit: 130 labels, and some without."""
    for language, labels in SUM_LABELS.items():
        writers = ("xlsxwriter", "csv en" if language == "en" else "csv fr")
        for at, label in enumerate(labels.split("|")):
            masses = drawn(20, label)
            extra = [label, sums(masses)["mean"]]
            heads = HEADED[language][0]
            rows = [*listed(masses, heads), extra]
            yield Case(f"label, {language}: {label}", one(rows), units(masses), writers[at % 2], "read", SUPPOSITORIES)
    masses = drawn(20, "sums")
    own = sums(masses)
    base = listed(masses)
    formula = Formula("=AVERAGE(B2:B21)", own["mean"])
    plain: dict[str, tuple[Rows, str, str]] = {
        "labels left of the table": (
            [[None, *row] for row in base] + [["Mean", None, own["mean"]], ["SD", None, own["sd"]]],
            "xlsxwriter",
            "read",
        ),
        "labels right of the number": (
            [*base, [None, own["mean"], "Mean"], [None, own["sd"], "SD"]],
            "openpyxl",
            "read",
        ),
        "label in the cell": ([*base, [None, f"Mean = {own['mean']} g"]], "xlsxwriter", "read"),
        "label in one cell below": ([*base, [], [f"Mean: {own['mean']} g; SD: {own['sd']} g"]], "openpyxl", "read"),
        "formulas": ([*base, ["Mean", formula], ["SD", Formula("=STDEV(B2:B21)", own["sd"])]], "xlsxwriter", "read"),
        "formulas recalculated": (
            [*base, ["Mean", formula], ["SD", Formula("=STDEV(B2:B21)", own["sd"])]],
            "ods",
            "read",
        ),
        "formula without label": ([*base, [None, formula]], "xlsxwriter", "either"),
        "formula without label after a gap": ([*base, [], [None, formula]], "xlsxwriter", "either"),
        "number without label": ([*base, [None, own["mean"]]], "xlsxwriter", "either"),
        "number without label after a gap": ([*base, [], [None, own["mean"]], [None, own["sd"]]], "csv en", "either"),
        "target above": (
            [["Target weight (g)", Decimal("2.000")], ["Nominal", Decimal("2.0")], [], *base],
            "xlsxwriter",
            "read",
        ),
        "target above the list, no gap": ([["Target", Decimal("2.000")], *base], "openpyxl", "read"),
        "check weight first in the list": (
            [base[0], ["Check weight", Decimal("2.000")], *base[1:]],
            "xlsxwriter",
            "read",
        ),
        "limits at the side": (
            [
                [*base[0], None, "Lower limit", "Upper limit"],
                [*base[1], None, Decimal("1.9"), Decimal("2.1")],
                *base[2:],
            ],
            "xlsxwriter",
            "read",
        ),
        "mean at the side": (
            [[*base[0], None, "Mean (g)"], [*base[1], None, own["mean"]], *base[2:]],
            "openpyxl",
            "read",
        ),
        "sums at the side, label and number": (
            side_by_side(base, [["Mean", own["mean"]], ["SD", own["sd"]], ["Total", own["sum"]]]),
            "xlsxwriter",
            "read",
        ),
        "number at the side": ([base[0], [*base[1], None, Decimal("2.05")], *base[2:]], "xlsxwriter", "either"),
        "number three columns off": (
            [*base[:9], [*base[9], None, None, Decimal("1.95")], *base[10:]],
            "openpyxl",
            "either",
        ),
        "mean in the middle": ([*base[:11], ["Mean 1-10", mean(masses[:10])], *base[11:]], "xlsxwriter", "read"),
        "calibration below": (
            [
                *base,
                [],
                ["Balance check"],
                ["Nominal (g)", "Reading (g)"],
                [Decimal(2), Decimal("2.001")],
                [Decimal(5), Decimal("5.002")],
            ],
            "xlsxwriter",
            "either",
        ),
        "plain base pours below": (
            [*base, [], ["Plain base"], ["Cavity", "Mass (g)"], *([at, m] for at, m in enumerate(drawn(6, "base"), 1))],
            "xlsxwriter",
            "either",
        ),
        "column of means without labels": (
            [["Weight (g)"], *([m] for m in masses), [own["mean"]], [own["sd"]]],
            "csv en",
            "either",
        ),
        "bare column, formula last": (
            [*([m] for m in masses), [Formula("=AVERAGE(A1:A20)", own["mean"])]],
            "xlsxwriter",
            "either",
        ),
        "bare column, sum last": ([*([m] for m in masses), [own["sum"]]], "csv en", "either"),
        "a mass for a unit without a name": ([*base[:5], [None, base[5][1]], *base[6:]], "xlsxwriter", "either"),
    }
    for what, (rows, writer, allowed) in plain.items():
        truth = units(masses, named=what != "a mass for a unit without a name" and base[0] == rows[0])
        yield Case(f"sums: {what}", one(rows), truth, writer, allowed, SUPPOSITORIES)


def columns() -> Iterator[Case]:
    """More than one number a unit: tare, replicates, a second weighing, contents, dates, formulas."""
    masses = drawn(20, "columns")
    tare = drawn(20, "tare", mean="1.500")
    gross = [m + t for m, t in zip(masses, tare, strict=True)]
    net = [Formula(f"=B{at}-C{at}", m) for at, m in enumerate(masses, 2)]
    again: list[Decimal | None] = [None] * 20
    again[4] = masses[4] + Decimal("0.120")
    deviation = [((m / mean(masses) - 1) * 100).quantize(Decimal("0.01")) for m in masses]
    contents = [(m * 125).quantize(Decimal("0.1")) for m in masses]
    stamps = [time(10, at) for at in range(20)]
    shown = [at % 3 == 0 for at in range(20)]
    read, either, refuse = "read", "either", "refuse"
    rows: dict[str, tuple[Rows, str, str]] = {
        "gross, tare, net": (
            listed(gross, ("Unit", "Gross (g)", "Tare (g)", "Net (g)"), tare, masses),
            "xlsxwriter",
            read,
        ),
        "gross, tare, net as formulas": (
            listed(gross, ("Unit", "Gross (g)", "Tare (g)", "Net (g)"), tare, net),
            "xlsxwriter",
            read,
        ),
        "Brutto, Tara, Netto": (
            listed(gross, ("Nr.", "Brutto (g)", "Tara (g)", "Netto (g)"), tare, masses),
            "csv de",
            read,
        ),
        "brut, tare, net": (listed(gross, ("N°", "Brut (g)", "Tare (g)", "Net (g)"), tare, masses), "csv fr", read),
        "gross and tare": (listed(gross, ("Unit", "Gross (g)", "Tare (g)"), tare), "openpyxl", either),
        "tare and mass": (listed(tare, ("Unit", "Tare (g)", "Mass (g)"), masses), "xlsxwriter", read),
        "with foil": (
            listed(gross, ("Unit", "Weight with foil (g)", "Foil (g)", "Weight without foil (g)"), tare, masses),
            "xlsxwriter",
            either,
        ),
        "target a row": (listed(masses, ("Unit", "Mass (g)", "Target (g)"), [Decimal("2.0")] * 20), "xlsxwriter", read),
        "target first": (
            listed([Decimal("2.0")] * 20, ("Unit", "Target mass (g)", "Actual mass (g)"), masses),
            "openpyxl",
            read,
        ),
        "Soll, Ist": (listed([Decimal("2.0")] * 20, ("Nr.", "Soll (g)", "Ist (g)"), masses), "csv de", read),
        "deviation": (listed(masses, ("Unit", "Mass (g)", "Deviation (%)"), deviation), "xlsxwriter", read),
        "deviation as formulas": (
            listed(
                masses,
                ("Unit", "Weight (g)", "Dev %"),
                [Formula(f"=(B{at}/AVERAGE(B$2:B$21)-1)*100", d) for at, d in enumerate(deviation, 2)],
            ),
            "ods",
            read,
        ),
        "replicates": (
            listed(masses, ("Unit", "Weight 1 (g)", "Weight 2 (g)"), [m + Decimal("0.002") for m in masses]),
            "xlsxwriter",
            refuse,
        ),
        "replicates and mean": (
            listed(
                [m - Decimal("0.001") for m in masses],
                ("Unit", "Weighing 1 (g)", "Weighing 2 (g)", "Mean (g)"),
                [m + Decimal("0.001") for m in masses],
                masses,
            ),
            "xlsxwriter",
            either,
        ),
        "reweighed": (listed(masses, ("Unit", "Mass (g)", "Reweigh (g)"), again), "xlsxwriter", either),
        "second weighing": (listed(masses, ("Unit", "Mass (g)", "2nd weighing (g)"), again), "csv en", either),
        "weighed again": (listed(masses, ("Unit", "Mass (g)", "Weighed again (g)"), again), "openpyxl", either),
        "Nachwägung": (listed(masses, ("Nr.", "Masse (g)", "Nachwägung (g)"), again), "csv de", either),
        "contents": (listed(masses, ("Unit", "Mass (g)", "Content (mg)"), contents), "xlsxwriter", either),
        "contents, German": (listed(masses, ("Nr.", "Masse (g)", "Gehalt (mg)"), contents), "csv de", either),
        "date and time": (
            listed(masses, ("Unit", "Mass (g)", "Weighed on", "Time"), [date(2024, 1, 15)] * 20, stamps),
            "xlsxwriter",
            read,
        ),
        "remarks": (
            listed(masses, ("Unit", "Mass (g)", "Remarks"), ["chipped" if s else None for s in shown]),
            "xlsxwriter",
            read,
        ),
        "checkmarks": (listed(masses, ("Unit", "Mass (g)", "OK?"), ["✓"] * 20), "openpyxl", read),
        "temperature": (listed([Decimal("21.5")] * 20, ("Unit", "Temp (°C)", "Mass (g)"), masses), "xlsxwriter", read),
        "length": (listed([Decimal("2.4")] * 20, ("Unit", "Length (cm)", "Mass (g)"), masses), "xlsxwriter", read),
        "mass in g and mg": (
            listed(masses, ("Unit", "Mass (g)", "Mass (mg)"), [m * 1000 for m in masses]),
            "xlsxwriter",
            either,
        ),
        "masses as formulas": (listed([Formula(f"={m - 1}+1", m) for m in masses]), "xlsxwriter", read),
        "by pandas": (listed(masses), "pandas", read),
        "by pandas, German": (listed(masses, ("Zäpfchen", "Gewicht (g)")), "pandas", read),
        "empty columns between": ([[a, None, None, b] for a, b in listed(masses)], "xlsxwriter", read),
        "empty rows between": ([row for pair in ((r, []) for r in listed(masses)) for row in pair], "openpyxl", read),
        "away from the corner": ([[]] * 7 + [[None, None, None, *row] for row in listed(masses)], "xlsxwriter", read),
        "away from the corner, csv": ([[None, *row] for row in [[], [], *listed(masses)]], "csv de", read),
        "mould and cavity": (
            [
                ["Mould", "Cavity", "Mass (g)"],
                *(["A" if at < 10 else "B", at % 10 + 1, m] for at, m in enumerate(masses)),
            ],
            "xlsxwriter",
            read,
        ),
        "missing masses": (listed([*masses[:18], None, "broken"]), "xlsxwriter", either),
        "dashes": (listed([*masses[:18], "-", "n/a"]), "csv en", either),
        "asterisk": (listed([f"{m}*" if at == 3 else m for at, m in enumerate(masses)]), "xlsxwriter", either),
        "error cell": (listed([*masses[:19], "#DIV/0!"]), "xlsxwriter", either),
    }
    for what, (table, writer, allowed) in rows.items():
        few = 18 if what in ("missing masses", "dashes") else 19 if what == "error cell" else 20
        truth = tuple(Unit(m, name=str(at)) for at, m in enumerate(masses[:few], 1))
        if what == "mould and cavity":
            truth = tuple(
                Unit(m, mould="A" if at < 10 else "B", cavity=str(at % 10 + 1)) for at, m in enumerate(masses)
            )
        carried = (
            tuple(contents)
            if "contents" in what
            else tuple(a for a in again if a)
            if again in [list(c) for c in zip(*table[1:], strict=False)]
            else ()
        )
        yield Case(f"columns: {what}", one(table), truth, writer, allowed, SUPPOSITORIES, carried)
    merged = [["Weighing of suppositories", None], ["Unit", "Mass (g)"], *listed(masses)[1:]]
    yield Case("columns: merged title", one(merged, merged=("A1:B1",)), units(masses), options=SUPPOSITORIES)
    yield Case(
        "columns: hidden rows",
        one(listed(masses), hidden=(5, 6, 7)),
        units(masses),
        "openpyxl",
        "either",
        SUPPOSITORIES,
    )
    twice = [
        ["Unit", "Mass (g)", "Unit", "Mass (g)"],
        *([at, masses[at - 1], at + 10, masses[at + 9]] for at in range(1, 11)),
    ]
    yield Case("columns: heading twice", one(twice), units(masses), options=SUPPOSITORIES)
    facts = [
        ["Product", "Paracetamol 250 mg"],
        ["Batch", "240117"],
        ["Date", date(2024, 1, 15)],
        ["Mould", "2 g metal"],
        ["Balance", "d = 0.001 g"],
        ["Room (°C)", Decimal("21.5")],
    ]
    signed = [[], ["Weighed by", "M. Huber"], ["Checked by", "__________"], ["Released", "yes / no"]]
    yield Case(
        "columns: a whole form",
        one([*facts, [], *listed(masses, ("Nr.", "Masse (g)")), *signed]),
        units(masses),
        options=SUPPOSITORIES,
    )
    yield Case(
        "columns: a whole form, ods",
        one([*facts, [], *listed(masses, ("No", "Weight (g)")), *signed]),
        units(masses),
        "ods",
        options=SUPPOSITORIES,
    )
    yield Case(
        "columns: a whole form, xls",
        one([*facts, [], *listed(masses, ("No", "Weight (g)")), *signed]),
        units(masses),
        "xls",
        options=SUPPOSITORIES,
    )
    yield Case(
        "columns: a whole form, csv",
        one([*facts, [], *listed(masses, ("Nr.", "Masse (g)")), *signed]),
        units(masses),
        "csv de",
        options=SUPPOSITORIES,
    )
    yield Case(
        "columns: a whole form, csv of calc",
        one([*facts, [], *listed(masses, ("No", "Weight (g)")), *signed]),
        units(masses),
        "csv of calc",
        options=SUPPOSITORIES,
    )


def harder() -> Iterator[Case]:
    """What has led readers astray: the tool's own sheet with more on it, templates, ingredients, pages, copies."""
    masses = drawn(20, "harder")
    base, own = listed(masses), sums(masses)
    read, either, refuse = "read", "either", "refuse"
    second = side_by_side(
        base, [["Unit", "Mass (g)"], *([f"B{at}", m] for at, m in enumerate(drawn(20, "beside", light="0.8"), 1))]
    )
    both = units(masses) + tuple(Unit(m, name=f"B{at}") for at, m in enumerate(drawn(20, "beside", light="0.8"), 1))
    thousands = [f"{m}".replace(".", ",") for m in masses]
    contents = [(m * 125).quantize(Decimal("0.1")) for m in masses]
    ingredients: Rows = [
        ["Ingredient", "Amount (g)"],
        ["Paracetamol", Decimal("5.00")],
        ["Hard fat", Decimal("35.2")],
        ["Silica", Decimal("2.1")],
        [],
    ]
    running = [mean(masses[: at + 1]).quantize(Decimal("0.001")) for at in range(20)]
    in_moulds = [["Mould", "Unit", "Mass (g)"], *(["AB"[at // 10], at % 10 + 1, m] for at, m in enumerate(masses))]
    two = tuple(Unit(m, mould="AB"[at // 10]) for at, m in enumerate(masses))
    grouped = [
        ["Mould A", None, "Mould B", None],
        ["No.", "Weight (g)", "No.", "Weight (g)"],
        *([at + 1, masses[at], at + 1, masses[at + 10]] for at in range(10)),
    ]
    mixed = [
        ["Mould A", None, "Mould B", None],
        ["No.", "Weight (g)", "No.", "Weight (mg)"],
        *([at + 1, masses[at], at + 1, masses[at + 10]] for at in range(10)),
    ]
    sheets: dict[str, tuple[Rows, str, str, tuple[Unit, ...], str]] = {
        "own sheet with a mean": ([*base, ["Mean", own["mean"]]], "xlsxwriter", read, units(masses), "Units"),
        "own sheet with a target": ([*base, ["Target", Decimal("2.0")]], "xlsxwriter", read, units(masses), "Units"),
        "own sheet with a check weight": (
            [base[0], ["Check weight", Decimal("2.0")], *base[1:]],
            "openpyxl",
            read,
            units(masses),
            "Units",
        ),
        "own sheet, second block": (second, "xlsxwriter", either, both, "Units"),
        "own sheet, second block below": (
            [*base, [], *[["Unit", "Mass (g)"], *([u.name, u.mass] for u in both[20:])]],
            "xlsxwriter",
            either,
            both,
            "Units",
        ),
        "own sheet, contents": (
            listed(masses, ("Unit", "Mass (g)", "Content (mg)"), contents),
            "xlsxwriter",
            either,
            units(masses),
            "Units",
        ),
        "own sheet, contents alone with a mean": (
            [["Unit", "Content (mg)"], *([at, c] for at, c in enumerate(contents, 1)), ["Mean", Decimal("250.0")]],
            "xlsxwriter",
            either,
            (),
            "Units",
        ),
        "own sheet, grams under mg": (listed(masses, ("Unit", "Mass (mg)")), "xlsxwriter", refuse, (), "Units"),
        "own sheet, number beside": (
            [base[0], [*base[1], None, Decimal("2.05")], *base[2:]],
            "xlsxwriter",
            either,
            units(masses),
            "Units",
        ),
        "commas of thousands under mg": (
            listed(thousands, ("Unit", "Mass (mg)")),
            "csv en",
            either,
            units(masses),
            "Sheet1",
        ),
        "strength in a column": (
            listed(masses, ("Unit", "Mass (g)", "Strength (mg)"), [250] * 20),
            "xlsxwriter",
            read,
            units(masses),
            "Sheet1",
        ),
        "ingredients above": ([*ingredients, *base], "xlsxwriter", either, units(masses), "Sheet1"),
        "ingredients beside": (side_by_side(base, ingredients[:-1]), "openpyxl", either, units(masses), "Sheet1"),
        "template with places left": (
            [*base, *([at, None] for at in range(21, 31))],
            "xlsxwriter",
            read,
            units(masses),
            "Sheet1",
        ),
        "template with zeros left": (
            [*base, *([at, 0] for at in range(21, 31))],
            "xlsxwriter",
            either,
            units(masses),
            "Sheet1",
        ),
        "running mean": (
            listed(masses, ("Unit", "Mass (g)", "Running mean (g)"), running),
            "xlsxwriter",
            read,
            units(masses),
            "Sheet1",
        ),
        "moulds each counted from 1": (in_moulds, "xlsxwriter", read, two, "Sheet1"),
        "heading again on page two": (
            [*base[:11], [], base[0], *base[11:]],
            "xlsxwriter",
            either,
            units(masses),
            "Sheet1",
        ),
        "moulds in merged headings": (grouped, "xlsxwriter", read, two, "Sheet1"),
        "one block in mg, by its heading": (mixed, "xlsxwriter", refuse, (), "Sheet1"),
        "the mean in a note": (
            [*base, [], [f"The mean of the 20 units is {own['mean']} g."]],
            "openpyxl",
            read,
            units(masses),
            "Sheet1",
        ),
        "one batch in a column": (
            [["Batch", *base[0]], *(["240117", *row] for row in base[1:])],
            "xlsxwriter",
            read,
            units(masses),
            "Sheet1",
        ),
        "one batch in a column, numbers": (
            [["Lot", *base[0]], *([240117, *row] for row in base[1:])],
            "csv en",
            read,
            units(masses),
            "Sheet1",
        ),
        "years and temperatures": (
            listed(masses, ("No.", "Weight (g)", "Year", "°C"), [2024] * 20, [Decimal("2.5")] * 20),
            "xlsxwriter",
            read,
            units(masses),
            "Sheet1",
        ),
        "less than": (listed(["<1.9", *masses[1:]]), "xlsxwriter", refuse, (), "Sheet1"),
        "a range": (listed(["1.95-2.05", *masses[1:]]), "csv en", refuse, (), "Sheet1"),
        "two masses in a cell": (listed(["1.95 / 1.96", *masses[1:]]), "xlsxwriter", refuse, (), "Sheet1"),
        "struck out in words": (
            listed([f"{masses[0]} (dropped)", *masses[1:]]),
            "xlsxwriter",
            either,
            units(masses),
            "Sheet1",
        ),
    }
    for what, (rows, writer, allowed, truth, title) in sheets.items():
        merged = ("A1:B1", "C1:D1") if "merged" in what else ()
        carried = tuple(contents) if "contents" in what else ()
        yield Case(f"harder: {what}", one(rows, title, merged=merged), truth, writer, allowed, SUPPOSITORIES, carried)
    summary = {"Data": Sheet(base), "Summary": Sheet([["Mean", own["mean"]], ["SD", own["sd"]], ["Total", own["sum"]]])}
    yield Case("harder: summary on its own sheet", summary, units(masses), options=SUPPOSITORIES)
    template = {"240117": Sheet(base), "Template": Sheet([["Unit", "Mass (g)"], *([at, None] for at in range(1, 21))])}
    yield Case("harder: empty template beside", template, units(masses), "openpyxl", options=SUPPOSITORIES)
    copy = {"Raw": Sheet(base), "Sorted": Sheet([base[0], *sorted(base[1:], key=lambda row: row[1])])}
    yield Case("harder: the same list twice", copy, units(masses), "xlsxwriter", either, SUPPOSITORIES)
    split = {"Mould A": Sheet(base[:11]), "Mould B": Sheet([base[0], *base[11:]])}
    yield Case("harder: a sheet a mould", split, units(masses), "xlsxwriter", either, SUPPOSITORIES)


def neighbours() -> Iterator[Case]:
    """Numbers and words beside the masses that are about something else."""
    masses = drawn(20, "neighbours")
    mg = [int(m.scaleb(3)) for m in masses]
    own, two = sums(masses), [Unit(m, str(n), "A") for n, m in enumerate(masses[:3], 1)]
    two += [Unit(m, str(n), "B") for n, m in enumerate(masses[3:11], 1)]
    short: Rows = [["Mould A"], *listed(masses[:3]), ["Mean", mean(masses[:3]).quantize(Decimal("0.0001"))]]
    columns = [masses[:10], masses[10:]]
    pairs = list(zip(*columns, strict=True))
    totals = [[at, a, b, a + b] for at, (a, b) in enumerate(pairs, 1)]
    means = [mean(one) * 1000 for one in columns]
    alone, named = units(masses, named=False), units(masses)
    across: Rows = [["Unit", *range(1, 21), None, 2012], ["Mass (g)", *masses, None, masses[3]]]
    cases: dict[str, tuple[Rows, str, tuple[Unit, ...], str]] = {
        "a mean under the shorter block": (
            side_by_side(short, [["Mould B"], *listed(masses[3:11])]),
            "xlsxwriter",
            tuple(two),
            "read",
        ),
        "percentages before the masses": (
            [["Deviation", "Unit", "Mass (g)"], *(["1.5 %", at, m] for at, m in enumerate(masses, 1))],
            "csv en",
            named,
            "read",
        ),
        "a strength over a grid": (
            [["Zäpfchen 250 mg"], [], [None, "A", "B"], *([at, *pair] for at, pair in enumerate(pairs, 1))],
            "xlsxwriter",
            alone,
            "read",
        ),
        "a strength over a row": ([["Zäpfchen 250 mg"], ["Limit 2.0 g"], list(masses)], "xlsxwriter", alone, "either"),
        "totals of two columns": ([[None, "A", "B", None], *totals], "xlsxwriter", alone, "either"),
        "means with decimals under masses in mg": (
            [[None, "A", "B"], *([at, mg[at - 1], mg[at + 9]] for at in range(1, 11)), [None, *means]],
            "xlsxwriter",
            alone,
            "either",
        ),
        "a mean above a line of text": (
            [["Weight (g)"], *([m] for m in masses), [own["mean"]], [], ["Limit 2.0 g +/- 5 %"]],
            "xlsxwriter",
            alone,
            "either",
        ),
        "formulas without results beside another batch": (
            [
                ["Unit", *range(1, 6), None, "Batch 99", "Unit", *range(1, 7)],
                ["Mass (g)", *(Formula(f"={m}+0", m) for m in masses[:5]), None, None, "Mass (g)", *masses[5:11]],
            ],
            "openpyxl",
            units(masses[:5]),
            "either",
        ),
        "a mean below a line of text": (
            [
                ["Weight (g)"],
                *([m] for m in masses),
                ["Weighed on Monday"],
                [own["mean"]],
                ["Total", own["sum"]],
            ],
            "openpyxl",
            alone,
            "either",
        ),
        "figures with decimals beside masses in mg": (
            [
                [None, 1, 2, None, "Target", Decimal("46.4")],
                *([at, *pair] for at, pair in enumerate(zip(mg[:10], mg[10:], strict=True), 1)),
                [None, None, None, "Mean", "SD", means[0]],
                [None, None, None, means[1], Decimal("46.4")],
            ],
            "openpyxl",
            alone,
            "either",
        ),
        "means and SDs with decimals around masses in mg": (
            [
                ["No", "Mould A (mg)", "Mould B (mg)"],
                *(
                    [at, *pair, None, sum(pair) / 2 + 0.5]
                    for at, pair in enumerate(zip(mg[:10], mg[10:], strict=True), 1)
                ),
                ["Avg weight", *([Decimal("30.1")] * 2), *([None, Decimal("24.5")] * 5)],
            ],
            "openpyxl",
            alone,
            "either",
        ),
        "a word, and a number far behind it": (
            [["Weight (g)"], *([m] for m in masses), [min(masses), "Min", None, None, masses[3]]],
            "xlsxwriter",
            alone,
            "either",
        ),
        "figures beside masses alone": (
            [*([m] for m in masses[:-2]), [masses[-2], "Mean", own["mean"]], [masses[-1], "SD", own["sd"]]],
            "xlsxwriter",
            alone,
            "read",
        ),
        "pasted lines with a number beside": (
            [[f"{at}  {m} g", *([None, 1955] if at == 7 else [])] for at, m in enumerate(masses, 1)],
            "xlsxwriter",
            named,
            "either",
        ),
        "a number over a row": ([[None, Decimal("2.05")], list(masses)], "xlsxwriter", alone, "either"),
        "a number over pasted masses": (
            [[None, "2.05 g"], [None, "2.06 g"], *([f"{m} g"] for m in masses)],
            "xlsxwriter",
            alone,
            "either",
        ),
        "a pair that does not go on counting": (across, "xlsxwriter", named, "either"),
        "a tare beside pasted lines": (
            [[at, f"{m} g", *(["Tare", Decimal("0.239")] if at == 7 else [])] for at, m in enumerate(masses, 1)],
            "xlsxwriter",
            named,
            "read",
        ),
        "a target below a row": ([list(masses), ["Target: 2.05 g"]], "xlsxwriter", alone, "read"),
        "a number below a gap that figures beside it fill": (
            [
                ["Mass (g)"],
                *([m, None, *more] for m, more in zip(masses, [["Mean", own["mean"]], *[[]] * 19], strict=True)),
                [None, None, "Max", max(masses)],
                [min(masses) + Decimal("0.001")],
                ["Weighed by AB"],
            ],
            "openpyxl",
            alone,
            "either",
        ),
        "a tare beside our own table": (
            [
                ["Unit", "Mass (g)", None, None],
                *([at, m, *(["Tare", m] if at == 9 else [])] for at, m in enumerate(masses, 1)),
            ],
            "csv us tab",
            named,
            "either",
        ),
    }
    for what, figure in (("least", min(masses)), ("greatest", max(masses)), ("mean", own["mean"]), ("sum", own["sum"])):
        cases[f"the {what} under masses alone"] = ([*([m] for m in masses), [figure]], "openpyxl", alone, "either")
        cases[f"the {what} below an empty row"] = ([*([m] for m in masses), [], [figure]], "openpyxl", alone, "either")
    for label, figure in (("Min", min(masses)), ("Mittel", own["mean"]), ("SD", own["sd"]), ("Total", own["sum"])):
        for head in ("Remark", "Bemerkung", "Note", "Checked"):
            rows = [["Weight (g)", head], *([m, None] for m in masses), [figure, label]]
            cases[f"{label} under {head}"] = (rows, "xlsxwriter", alone, "either")
    for what, (rows, writer, truth, allowed) in cases.items():
        yield Case(f"neighbours: {what}", one(rows), truth, writer, allowed, SUPPOSITORIES)
    over = [["Limit high", Decimal("2.1")], *listed(masses)]
    yield Case("neighbours: a number above our own headings", one(over), named, "csv en", "read", SUPPOSITORIES)


def corpus() -> list[Case]:
    """Every case, in an order that stays."""
    kinds = (
        lists,
        units_of_mass,
        bare,
        blocks,
        grids,
        batches,
        balance,
        columns,
        harder,
        neighbours,
        published,
        sum_rows,
    )
    return [case for kind in kinds for case in kind()]
