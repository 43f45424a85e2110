"""What the tool says of every sample, as text. `python tests/goldens/capture.py [NAME ...]` writes it anew.

These are our own answers. They prove nothing about the answers; they show what a change to the code changed.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from html.parser import HTMLParser
from itertools import groupby
from math import isclose
from pathlib import Path
from typing import Any
from zipfile import ZipFile

from qc.jobs.verify.pages import not_said

ROOT = Path(__file__).parents[2]
GOLDENS = Path(__file__).parent / "kept"
SAMPLES = ROOT / "sample_data"
BARE = ["--form", "suppositories", "--label-mg", "250"]
LESSONS = ("settling-in-pour", "settling-in-unit", "slip-of-pen", "any")


def samples() -> list[Path]:
    """Every sample, the refused one too."""
    return sorted(
        path for path in SAMPLES.iterdir() if path.suffix in (".xlsx", ".csv") or (path / "units.csv").exists()
    )


def captures() -> dict[str, Callable[[], dict[str, str]]]:
    """A capture a sample, and one each for rules, lessons, sheets and chances: name -> texts by file name."""
    found: dict[str, Callable[[], dict[str, str]]] = {path.stem: _of(path) for path in samples()}
    return found | {"rules": _rules, "lessons": _lessons, "sheets": _sheets, "chances": _chances, "workbook": _workbook}


def kept(name: str) -> dict[str, str]:
    """The texts as they were written last."""
    return {path.name: path.read_text(encoding="utf-8") for path in sorted((GOLDENS / name).iterdir())}


def call(*words: str) -> str:
    """What a call prints, with its exit code in the last line."""
    from typer.testing import CliRunner

    from qc.cli.main import application

    result = CliRunner().invoke(application(words[0]), list(words))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return f"{result.output}exit code {result.exit_code}\n"


def _of(path: Path) -> Callable[[], dict[str, str]]:
    def capture() -> dict[str, str]:
        facts = BARE if path.suffix == ".csv" else []
        shown = str(path.relative_to(ROOT))
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder)
            said = call(
                "check", str(path), *facts, "--report", str(out / "report"), "--json", str(out / "result.json"),
                "--workbook", str(out / "book.xlsx"), "--at", "2026-11-26T12:00+00:00",
            )  # fmt: skip
            texts = {"terminal.txt": said.replace(folder, "DIR").replace(str(path), shown)}
            if (out / "result.json").exists():
                texts["result.json"] = (out / "result.json").read_text(encoding="utf-8")
                texts["html.txt"] = "\n".join(_text_of_page((out / "report/report.html").read_text("utf-8"))) + "\n"
                lacking = not_said(json.loads(texts["result.json"]), (out / "report/report.html").read_bytes())
                assert not lacking, f"qc verify finds that the report of {path.name} does not say {lacking}"
                texts["pdf.txt"] = _text_of_pdf(out / "report/report.pdf")
                texts["workbook.txt"] = "\n".join(_cells(out / "book.xlsx")) + "\n"
            return texts

    return capture


def _rules() -> dict[str, str]:
    listing = call("rules")
    ids = re.findall(r"^ {0,4}([a-z][a-z0-9.-]+[a-z0-9])\b", listing, flags=re.MULTILINE)
    shown = {id: call("rules", id) for id in dict.fromkeys(ids)}
    known = {id: text for id, text in shown.items() if text.endswith("exit code 0\n")}
    return {"listing.txt": listing} | {f"{id}.txt": text for id, text in known.items()}


def _lessons() -> dict[str, str]:
    texts = {}
    with tempfile.TemporaryDirectory() as folder:
        for fault in LESSONS:
            out = Path(folder) / fault
            call("lesson", fault, "--seed", "5", "--out", str(out))
            texts[f"{fault}.json"] = (out / "key.json").read_text(encoding="utf-8")
            texts[f"{fault}.book.txt"] = "\n".join(_cells(out / "batch.xlsx")) + "\n"
            texts[f"{fault}.html.txt"] = "\n".join(_text_of_page((out / "key.html").read_text("utf-8"))) + "\n"
    return texts


def _sheets() -> dict[str, str]:
    planned = "--form suppositories --mould A --mould B --cavities 12 --active paracetamol=250"
    planned += " --displacement paracetamol=1.39 --nominal-mass 2.00"
    texts = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, words in (("empty", ""), ("planned", planned)):
            book = Path(folder) / f"{name}.xlsx"
            call("sheet", str(book), *words.split())
            texts[f"{name}.txt"] = "\n".join(_cells(book)) + "\n"
            if words:
                texts[f"{name}-looks.txt"] = "\n".join(_looks(book)) + "\n"
    return texts


def _workbook() -> dict[str, str]:
    """The workbook that calculates a batch with everything anew, and how it looks; no sample has a balance of melt."""
    from tests.workbook.test_workbook import batch, written

    with tempfile.TemporaryDirectory() as folder:
        book = Path(folder) / "book.xlsx"
        book.write_bytes(written(batch()))
        return {"everything.txt": "\n".join(_cells(book)) + "\n", "looks.txt": "\n".join(_looks(book)) + "\n"}


def _chances() -> dict[str, str]:
    from qc.cli.main import COMMANDS

    command = "chance" if "chance" in COMMANDS else "odds"
    asked = {
        "dose": "--test dosage-unit-uniformity --mean 97 --sd 4",
        "limits": "--test dosage-unit-uniformity --sd 4 --limits",
        "mass": "--test mass-uniformity --sd 3",
        "content": "--test content-uniformity --sd 6",
    }
    return {f"{name}.txt": call(command, *words.split()) for name, words in asked.items()}


class _Text(HTMLParser):
    """Collects the text of a page; pictures give their text too, styles and scripts none."""

    def __init__(self) -> None:
        super().__init__()
        self.lines: list[str] = []
        self._silent = 0

    def handle_starttag(self, tag: str, attrs: Any) -> None:
        self._silent += tag in ("style", "script")

    def handle_endtag(self, tag: str) -> None:
        self._silent -= tag in ("style", "script")

    def handle_data(self, data: str) -> None:
        text = " ".join(data.split())
        if text and not self._silent:
            self.lines.append(text)


def _text_of_page(page: str) -> list[str]:
    reader = _Text()
    reader.feed(page)
    return reader.lines


def _text_of_pdf(path: Path) -> str:
    return subprocess.run(["pdftotext", "-layout", str(path), "-"], check=True, capture_output=True).stdout.decode()


def _cells(path: Path) -> Iterator[str]:
    from openpyxl import load_workbook

    formulas, values = load_workbook(path), load_workbook(path, data_only=True)
    for sheet in formulas.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.value is not None:
                    value = values[sheet.title][cell.coordinate].value
                    stored = "" if value == cell.value else f"  -> {value!r}"
                    yield f"{sheet.title}!{cell.coordinate}  {cell.value!r}{stored}"


def _looks(path: Path) -> Iterator[str]:
    """How a workbook looks, without what stands in it: its formats, and of each sheet widths, heights, checks, paper.

    Of each row stand the formats of its cells by their number; rows alike stand together.
    """
    with ZipFile(path) as book:
        parts = {name: book.read(name).decode() for name in sorted(book.namelist())}
    for name, text in parts.items():
        if not (name == "xl/styles.xml" or name.startswith("xl/worksheets/sheet")):
            continue
        yield f"# {name}"
        head, table, rest = re.fullmatch(r"(.*?)(?:<sheetData>(.*)</sheetData>(.*))?", text, re.DOTALL).groups("")
        yield from re.findall(r"<[^>]*>[^<]*", head)
        rows = re.findall(r"<row ([^>]*)>(.*?)</row>", table, re.DOTALL)
        shown = [
            (int(re.search(r'r="(\d+)"', given)[1]), re.sub(r'r="\d+" ?|spans="\S+" ?', "", f"{given} ")
            + " ".join(f"{column}:{look}" for column, look in re.findall(r'<c r="([A-Z]+)\d+"(?: s="(\d+)")?', cells)))
            for given, cells in rows
        ]  # fmt: skip
        for look, alike in groupby(shown, key=lambda row: row[1]):
            numbers = [number for number, _ in alike]
            yield f"rows {numbers[0]} to {numbers[-1]}: {look}"
        yield from re.findall(r"<[^>]*>[^<]*", rest)


def write(names: list[str]) -> None:
    """Write the texts of the captures named, of all without a name."""
    for name, capture in captures().items():
        if not names or name in names:
            folder = GOLDENS / name
            folder.mkdir(parents=True, exist_ok=True)
            before, after = kept(name), capture()
            for gone in before.keys() - after.keys():
                (folder / gone).unlink()
            for file, text in after.items():
                # What another processor rounds otherwise stays as it stands.
                if file not in before or differ(text, before[file]):
                    (folder / file).write_text(text, encoding="utf-8")


def differ(text: str, before: str) -> bool:
    """Whether a text says something else than before, last digits apart."""
    (words, numbers), (kept_words, kept_numbers) = numbers_apart(text), numbers_apart(before)
    pairs = zip(numbers, kept_numbers, strict=False)
    return words != kept_words or not all(isclose(*pair, rel_tol=1e-7, abs_tol=1e-9) for pair in pairs)


def numbers_apart(text: str) -> tuple[str, list[float]]:
    """A text with its numbers taken out, and the numbers: another processor rounds the last digits otherwise.

    With the last digits the digest of a result moves, and with the width of a digest the blanks beside it.
    """
    found = re.compile(r"-?\d+\.\d{6,}(?:e-?\d+)?|-?\d(?:\.\d+)?e-\d+")
    digest = re.compile(r"(?<=[Rr]eport )[0-9a-f]{12}\b|\b[0-9a-f]{64}\b")
    numbers = [float(number) for number in found.findall(text)]
    return re.sub(r"  +", "  ", digest.sub("DIGEST", found.sub("#", text))), numbers


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    write(sys.argv[1:])
    print(json.dumps({name: len(kept(name)) for name in captures()}))
