"""The PDF: page one alone, numbered, tagged, with fonts inside."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest
from msgspec.structs import replace
from pikepdf import Pdf

from qc.results import JudgedBatch, Limit
from qc.show.pages_pdf import Paper, pdf_pages
from qc.show.pieces import as_plain
from qc.show.write import compose

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
    return subprocess.run([tool, *options, str(path), *target], capture_output=True, text=True, check=True).stdout


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
    assert 3 <= len(found) <= 12
    first, second = found[:2]
    first = " ".join(first.split())
    for text in ("Weighed by", "Checked by", "Responsible pharmacist", "released", "rejected", "further testing"):
        assert text in first
    assert "the licensed person who signs decides." in first
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
    assert "the licensed person who signs decides." in found[signed]
    assert "1. Contents" in found[signed + 1]


@needs_poppler
@pytest.mark.parametrize("paper", list(Paper))
def test_page_one_is_set_in_nine_points_or_more(any_judged: JudgedBatch, paper: Paper, tmp_path: Path) -> None:
    """All but the letters inside the pictures, which are set in the font of the pictures."""
    path = tmp_path / "report.pdf"
    path.write_bytes(pdf_made(any_judged, paper))
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
        assert "Batch B-2026-117" in page
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


@needs_poppler
def test_a_script_that_no_bundled_font_holds_is_remarked_on(
    make_judged: Callable[..., JudgedBatch], tmp_path: Path
) -> None:
    judged = make_judged(product="栓剂 250 mg", names=[f"栓{place}" for place in range(24)])
    found = " ".join(" ".join(pages(pdf_made(judged), tmp_path)).split())
    assert "Where the PDF shows boxes for them, read the HTML page." in found


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
    assert "Each circle is a unit, in rows in pour order" in first
    assert "Responsible pharmacist" in " ".join(first.split())
