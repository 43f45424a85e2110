"""The PDF: page one alone, numbered, tagged, with fonts inside."""

from __future__ import annotations

import re
import shutil
import string
import subprocess
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import matplotlib
import pytest
from msgspec.structs import replace
from pikepdf import Pdf

from qc.results import JudgedBatch, Limit
from qc.show import pages_pdf
from qc.show.pages_pdf import Paper, pdf_pages
from qc.show.pieces import as_plain, column, shown, table
from qc.show.write import compose

# In one process, so that each report is drawn once.
pytestmark = pytest.mark.xdist_group("pages of the report")
Batches = dict[str, Callable[[], JudgedBatch]]
PdfOf = Callable[[str, Paper], bytes]
needs_poppler = pytest.mark.skipif(
    shutil.which("pdftotext") is None, reason="needs poppler (Debian package poppler-utils)"
)


def pdf_made(judged: JudgedBatch, paper: Paper = Paper.A4) -> bytes:
    return pdf_pages(as_plain(compose(judged, digest="0123456789abcdef", document={})), paper=paper)


def run(tool: str, pdf: bytes, tmp_path: Path, *options: str) -> str:
    path = tmp_path / "report.pdf"
    path.write_bytes(pdf)
    target = ["-"] if tool == "pdftotext" else []
    told = subprocess.run([tool, *options, str(path), *target], capture_output=True, text=True, check=True)
    assert not told.stderr
    return told.stdout


def pages(pdf: bytes, tmp_path: Path) -> list[str]:
    return run("pdftotext", pdf, tmp_path, "-layout").rstrip("\f").split("\f")


def crowded(judged: JudgedBatch) -> JudgedBatch:
    """A batch with more to say on page one than any real one."""
    line = Limit(
        what="check_in_words",
        figure=None,
        met=True,
        values={
            "name": "units outside 85 to 115 % of the mean of the sample",
            "result": "0 of 10",
            "spans": (),
            "limit": "at most 1",
        },
    )
    tests = tuple(replace(test, criteria=(line,) * 5) for test in judged.tests) * 2
    return replace(
        judged,
        tests=tests,
        next_steps=tuple(f"Do thing {i}: " + "and look at it again " * 12 for i in range(12)),
        cannot_say=tuple(f"Fact {i} stays unknown " + "as far as these data go " * 12 for i in range(12)),
    )


@needs_poppler
def test_page_one_holds_verdict_and_signatures_and_nothing_of_page_two(
    any_name: str, pdf_of: PdfOf, tmp_path: Path
) -> None:
    found = pages(pdf_of(any_name, Paper.A4), tmp_path)
    assert 2 <= len(found) <= 12
    first, second = found[:2]
    first = " ".join(first.split())
    for text in ("Prepared by", "Checked by", "Assay by", "Decided by", "released", "rejected", "held"):
        assert text in first
    assert "the licensed person who signs decide." in first
    assert "1. Contents" in second
    assert "1. Contents" not in first


@needs_poppler
@pytest.mark.parametrize("paper", list(Paper))
def test_more_than_a_page_holds_runs_on_and_is_signed_where_it_ends(
    batches: Batches, paper: Paper, tmp_path: Path
) -> None:
    found = [" ".join(page.split()) for page in pages(pdf_made(crowded(batches["two_actives"]()), paper), tmp_path)]
    assert "Undecided" in found[0]
    (signed,) = [place for place, page in enumerate(found) if "Decision of the responsible pharmacist" in page]
    assert 1 <= signed <= 3
    assert "the licensed person who signs decide." in found[signed]
    assert "1. Contents" in found[signed + 1]


@needs_poppler
@pytest.mark.parametrize("paper", list(Paper))
def test_page_one_is_set_in_nine_points_or_more(any_name: str, pdf_of: PdfOf, paper: Paper, tmp_path: Path) -> None:
    """All but the letters inside the pictures, which are set in the font of the pictures."""
    path = tmp_path / "report.pdf"
    path.write_bytes(pdf_of(any_name, paper))
    told = ["pdftohtml", "-xml", "-i", "-l", "1", "-stdout", str(path)]
    page = subprocess.run(told, capture_output=True, text=True, check=True).stdout
    fonts = re.findall(r'<fontspec id="\d+" size="(\d+)" family="[A-Z+]*Libertinus', page)
    # The tool counts in dots of which 1.5 make a point.
    assert fonts
    assert min(map(int, fonts)) >= 1.5 * 9 - 1


@needs_poppler
def test_every_page_carries_batch_number_report_id_and_its_number(pdf_of: PdfOf, tmp_path: Path) -> None:
    found = pages(pdf_of("failing", Paper.A4), tmp_path)
    for number, page in enumerate(found, start=1):
        assert ("Batch report" if number == 1 else "Batch B-2026-117") in page
        assert "Report 0123456789ab" in page
        assert f"Page {number} of {len(found)}" in page


@needs_poppler
def test_fonts_are_the_ones_asked_for_and_all_inside(pdf_of: PdfOf, tmp_path: Path) -> None:
    listed = run("pdffonts", pdf_of("failing", Paper.A4), tmp_path).splitlines()[2:]
    names = {re.sub(r"^[A-Z]{6}\+|-Identity-H$", "", line.split()[0]) for line in listed}
    assert names == {
        "DejaVuSans",
        "DejaVuSans-Bold",
        "DejaVuSansMono",
        "LibertinusSerif-Bold",
        "LibertinusSerif-Italic",
        "LibertinusSerif-Regular",
    }
    assert all(re.search(r"\byes yes yes\b", line) for line in listed)


@needs_poppler
@pytest.mark.parametrize(("paper", "size"), [(Paper.A4, "(A4)"), (Paper.LETTER, "(letter)")])
def test_title_language_tags_and_paper_are_set(pdf_of: PdfOf, paper: Paper, size: str, tmp_path: Path) -> None:
    pdf = pdf_of("sound", paper)
    facts = dict(line.split(":", 1) for line in run("pdfinfo", pdf, tmp_path).splitlines() if ":" in line)
    assert facts["Title"].strip() == "Batch report B-2026-117: Paracetamol suppositories 250\xa0mg"
    assert facts["Tagged"].strip() == "yes"
    assert size in facts["Page size"]
    assert "CreationDate" not in facts
    with Pdf.open(BytesIO(pdf)) as opened:
        root = opened.Root
        assert (str(root.Lang), bool(root.MarkInfo.Marked), "/StructTreeRoot" in root) == ("en", True, True)
        assert opened.open_metadata()["pdfuaid:part"] == "1"


@needs_poppler
def test_text_of_the_user_is_set_as_it_stands_and_never_as_markup(pdf_of: PdfOf, tmp_path: Path) -> None:
    text = " ".join(" ".join(pages(pdf_of("hostile", Paper.A4), tmp_path)).split())
    assert "<script>alert(1)</script>" in text
    assert '#import("x") *bold* $a$' in text
    assert "Batch B/<b>1</b>\ufffd" in text


@needs_poppler
def test_a_digest_can_be_copied_from_the_page(batches: Batches, pdf_of: PdfOf, tmp_path: Path) -> None:
    source = batches["sound"]().batch.source
    assert source is not None
    assert source.sha256 in "".join(pages(pdf_of("sound", Paper.A4), tmp_path))


SCRIPTS = {
    "Thai": "\u0e1e\u0e32\u0e23\u0e32\u0e40\u0e0b\u0e15\u0e32\u0e21\u0e2d\u0e25",
    "Tamil": "\u0baa\u0bbe\u0bb0\u0bbe\u0b9a\u0bbf\u0b9f\u0bcd\u0b9f\u0bae\u0bbe\u0bb2\u0bcd",
    "Bengali": "\u09aa\u09cd\u09af\u09be\u09b0\u09be\u09b8\u09bf\u099f\u09be\u09ae\u09b2",
    "Hindi": "\u092a\u0948\u0930\u093e\u0938\u093f\u091f\u093e\u092e\u094b\u0932",
    "vowelled Arabic": "\u0628\u064e\u0627\u0631\u064e\u0627\u0633\u0650\u064a\u062a\u064e\u0627\u0645\u064f\u0648",
    "pointed Hebrew": "\u05e4\u05bc\u05b8\u05e8\u05b8\u05e6\u05b6\u05d8\u05b8\u05de\u05d5\u05b9\u05dc",
    "Chinese": "\u6813\u5264",
    "Khmer": "\u1781\u17d2\u1798\u17c2\u179a",
    "marks": "e\u0301 x\u0304\u0323 Z\u0338\u0322",
    "emoji": "\U0001f469\U0001f3fd\u200d\u2695\ufe0f \U0001f1e9\U0001f1ea",
    "controls": "a\x00b\x1b[2J\x85c\u2028d",
    "half a character": "x\ud800y",
    "turned": "\u202etxet\u202c \u2066x \u200f",
    "nothing to see": "a\ufeffb\u00adc\u2060d\u200be\U000e0041",
    "for nobody": "\ue000\U000f0000\uffff",
    "a mark that no letter bears": "a\u1cd0b\u20f0",
}


@needs_poppler
def test_text_of_any_script_is_set_or_stands_by_its_numbers(
    make_judged: Callable[..., JudgedBatch], tmp_path: Path
) -> None:
    together = [text for name, text in SCRIPTS.items() if not name.startswith("a mark")]
    names = [f"{place} {text}" for place, text in enumerate([*together, *together])][:24]
    masses = ["2.400", *["2.000"] * 22, "1.600"]
    judged = make_judged(names=names, masses=masses, product=" ".join(together))
    note = replace(judged.batch, note=" ".join(together), made_by=SCRIPTS["Thai"])
    pdf = pdf_made(replace(judged, batch=note))
    text = " ".join(" ".join(pages(pdf, tmp_path)).split())
    assert "They stand here by their numbers in Unicode, such as [U+6813], and in pictures as \ufffd;" in text
    assert "[U+6813 U+5264]" in text
    fonts = {line.split()[0].split("+")[-1] for line in run("pdffonts", pdf, tmp_path).splitlines()[2:]}
    shipped = {f"NotoSans{script}-Regular" for script in ("Thai", "Tamil", "Bengali", "Devanagari")}
    assert shipped <= fonts
    assert pdf == pdf_made(replace(judged, batch=note))


def test_letters_that_a_shipped_font_holds_stand_as_they_are() -> None:
    shipped = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
    faces = [shipped, *pages_pdf.FONTS.glob("*.ttf")]
    by_number = {
        name: pages_pdf._in_no_font({*text} - {*string.printable}, faces)
        for name, text in SCRIPTS.items()
        if name not in ("controls", "half a character", "turned", "for nobody")
    }
    assert {name: len(letters) for name, letters in by_number.items() if letters} == {
        "Chinese": 2,
        "Khmer": 5,
        "emoji": 4,
        "nothing to see": 2,
    }


@pytest.mark.parametrize("refused", ["a mark that no letter bears", "nothing to see"])
def test_what_the_typesetter_refuses_after_all_stands_by_its_number(
    refused: str, make_judged: Callable[..., JudgedBatch], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pages_pdf, "_in_no_font", lambda letters, faces: set())
    assert pdf_made(make_judged(product=SCRIPTS[refused])).startswith(b"%PDF")


@needs_poppler
def test_further_fonts_set_what_the_package_lacks(
    make_judged: Callable[..., JudgedBatch], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    judged = make_judged(product=f"{SCRIPTS['Thai']} 250 mg")
    monkeypatch.setattr(pages_pdf, "FONTS", tmp_path)
    assert "[U+0E1E " in " ".join(pages(pdf_made(judged), tmp_path))
    monkeypatch.setenv("QC_FONTS", str(Path(pages_pdf.__file__).parent / "fonts"))
    assert "[U+" not in " ".join(pages(pdf_made(judged), tmp_path))


def test_the_licence_stands_beside_the_fonts() -> None:
    assert "SIL OPEN FONT LICENSE Version 1.1" in (pages_pdf.FONTS / "OFL.txt").read_text(encoding="utf-8")


def test_figures_behind_words_from_the_right_keep_their_order() -> None:
    word = "\u05e9\u05dc\u05d5\u05dd"
    assert shown(f"unit {word} {word} 4 (7)") == f"unit {word} {word}\u200e 4 (7)"
    assert shown(shown(f"{word}, \u00e9")) == f"{word}\u200e, \u00e9"


def test_a_word_without_end_does_not_run_over_the_margin(
    make_judged: Callable[..., JudgedBatch], tmp_path: Path
) -> None:
    names = [f"{'Zäpfchen' * 12}{i}" for i in range(24)]
    assert pdf_made(make_judged(names=names, product="P" * 300, number="N" * 300)).startswith(b"%PDF")


@needs_poppler
def test_a_tray_of_hundreds_keeps_to_one_page(make_judged: Callable[..., JudgedBatch], tmp_path: Path) -> None:
    judged = make_judged(masses=[f"2.0{i % 90:02d}" for i in range(300)])
    first = pages(pdf_made(judged), tmp_path)[0]
    assert "The units in pour order" in first
    assert "rows in pour order" in " ".join(first.split())
    assert "Decided by (pharmacist)" in " ".join(first.split())


def test_a_table_of_thousands_is_cut_on_paper_to_the_marked_rows_and_the_first_ones() -> None:
    long = table("Units", range(2_000), column("Unit", str), strong=lambda unit: unit in (7, 1_500))
    plain = as_plain((long, table("Few", range(500), column("Unit", str))))
    cut, few = pages_pdf._on_paper(plain)
    assert few == plain[1]
    assert cut["caption"] == ("Units (500 of 2,000 rows, those outside a limit first; the HTML page holds all)")
    assert [row[0] for row in cut["rows"]] == [*map(str, range(499)), "1500"]
    assert cut["strong"] == [7, 499]
