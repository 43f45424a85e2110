"""What a page says is read back from the page itself: each figure and verdict that a result has, and nothing beside."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pikepdf
import pytest
from msgspec.structs import replace

from qc.jobs.check import TO_ASSAY
from qc.jobs.verify import again, predecessor
from qc.jobs.verify.files import Line, ReportFolder, Status, _as_listed
from qc.jobs.verify.pages import never_drawn, not_said
from qc.results import UNCHECKED, BatchVerdict, TestResult, Verdict
from qc.say.names import BATCH_SIGN, BATCH_VERDICT, OPEN_SIGN, VERDICT, test_title, titled, verdict_of

COMPLIES = f"{BATCH_SIGN[BatchVerdict.COMPLIES]} {BATCH_VERDICT[BatchVerdict.COMPLIES]}"
FAILS = f"{BATCH_SIGN[BatchVerdict.DOES_NOT_COMPLY]} {BATCH_VERDICT[BatchVerdict.DOES_NOT_COMPLY]}"
MASS = titled("mass-uniformity", about=None)
SAID = [COMPLIES, "batch B 7", f"{MASS}, {VERDICT[Verdict.COMPLIES]}", "2.013", "2.02", "10.0", "98.5"]


def document(**changed: Any) -> dict[str, Any]:
    unit = {
        "unit": "1",
        "mass_g": 2.013,
        "weighed_again_g": 2.02,
        "contents": {"a": {"mg": 10.0499, "percent_of_label": None}, "b": {"mg": None, "percent_of_label": 98.46}},
    }
    test = {"id": "mass-uniformity", "active": None, "subject": None, "verdict": "complies"}
    return {"verdict": "complies", "batch": {"number": "B 7"}, "tests": [test], "units": [unit], **changed}


def lacking(*said: str, **changed: Any) -> tuple[str, ...]:
    return not_said(document(**changed), "".join(f"<p>{one}</p>\n" for one in said).encode())


def test_a_page_that_says_all_lacks_nothing() -> None:
    assert lacking(*SAID) == ()
    assert lacking(*SAID, "more: 17") == ()
    # With as many decimals as it was measured to, or fewer.
    assert lacking(*SAID[:5], "10.05", "98.46") == lacking(*SAID[:5], "10", "98.5") == ()
    assert lacking(*SAID, batch={"number": "Ñ"}) == ()
    assert lacking(*SAID, batch={"number": None}) == ()
    assert lacking(f"{OPEN_SIGN} {BATCH_VERDICT[BatchVerdict.COMPLIES]}", *SAID[1:]) == ()


@pytest.mark.parametrize(
    ("place", "instead", "told"),
    [
        (0, "", "the verdict of the batch"),
        (0, FAILS, "the verdict of the batch"),
        (0, f"{COMPLIES} {FAILS}", "the verdict of the batch"),
        (1, "batch B 8", "batch number B7"),
        (2, "", f"the verdict of {MASS}"),
        (2, f"{MASS} {VERDICT[Verdict.DOES_NOT_COMPLY]}", f"the verdict of {MASS}"),
        (3, "2.014", "mass 2.013 g of unit 1"),
        (4, "2.03", "mass 2.02 g of unit 1"),
        (5, "10.1", "content of a of unit 1"),
        (6, "98.4", "content of b of unit 1"),
    ],
)
def test_what_a_page_says_otherwise_or_not_at_all_is_named(place: int, instead: str, told: str) -> None:
    assert lacking(*SAID[:place], instead, *SAID[place + 1 :]) == (told,)


@pytest.mark.parametrize("verdict", Verdict)
@pytest.mark.parametrize(("id", "subject"), [("mass-uniformity", None), ("release-check", "appearance")])
@pytest.mark.parametrize("required", [True, False])
@pytest.mark.parametrize("unchecked", [True, False])
def test_whatever_page_one_calls_a_verdict_is_known_for_it(
    verdict: Verdict, id: str, subject: str | None, required: bool, unchecked: bool
) -> None:
    reasons = (UNCHECKED,) if unchecked else ()
    test = TestResult(id=id, rule="", verdict=verdict, subject=subject, required=required, reasons=reasons)
    of_page = f"{test_title(test)}, {verdict_of(test)}"
    record = {"id": id, "active": None, "subject": subject, "verdict": verdict.value}
    assert lacking(*SAID[:2], of_page, *SAID[3:], tests=[record]) == ()


def test_of_much_that_is_lacking_the_first_is_named() -> None:
    assert len(lacking("nothing")) == 3
    assert lacking("nothing")[0] == "the verdict of the batch"


def drawn(change: Callable[[Any], object] = lambda _: None) -> bytes:
    """A PDF of one page, as `pikepdf` writes it, with something changed."""
    made, content = pikepdf.Pdf.new(), BytesIO()
    made.add_blank_page()
    change(made)
    made.save(content)
    return content.getvalue()


def add_picture(made: Any) -> None:
    made.pages[0].obj.Own = made.make_indirect(pikepdf.Stream(made, b"x", Subtype=pikepdf.Name.Image))


def add_script(made: Any) -> None:
    made.Root.Names = pikepdf.Dictionary(JavaScript=pikepdf.Dictionary())


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda _: None, ()),
        (add_picture, ("a picture made of dots",)),
        (add_script, ("a script",)),
        (lambda made: made.Root.update({"/AA": pikepdf.Dictionary()}), ("an action",)),
        (lambda made: made.pages[0].obj.update({"/Annots": pikepdf.Array()}), ("an annotation or stamp on page 1",)),
        (lambda made: made.pages[0].obj.update({"/AA": pikepdf.Dictionary()}), ("an annotation or stamp on page 1",)),
    ],
    ids=["nothing", "a picture", "a script", "an action", "a note", "an action of a page"],
)
def test_what_may_cover_the_words_of_a_page_is_named(change: Callable[[Any], object], told: tuple[str, ...]) -> None:
    assert never_drawn(drawn(change)) == told


def test_what_stands_behind_the_end_of_a_page_is_named() -> None:
    behind = "something added behind the end of the file"
    assert never_drawn(b"<p>a page</p>") == ()
    assert never_drawn(drawn() + b"more\n") == never_drawn(drawn() + b"startxref\n1\n%%EOF\n") == (behind,)
    assert never_drawn(b"%PDF-1.7\nnothing") == (behind, "parts that cannot be read")


def test_a_file_of_a_report_is_the_one_that_is_listed_or_says_how_it_is_not() -> None:
    digest = hashlib.sha256(b"x").hexdigest()
    files = dict.fromkeys(("a", TO_ASSAY), b"x")
    sound = ReportFolder(path=Path(), files=files, listed=dict.fromkeys(files, digest), fault="")

    def state(name: str, folder: ReportFolder = sound) -> tuple[Status, str]:
        line = _as_listed(name, folder)
        assert isinstance(line, Line)
        return line.state, " ".join(line.told.split()[:4])

    for name in ("a", TO_ASSAY):
        assert state(name)[0] is Status.HOLDS
    changed = replace(sound, files={"a": b"y", TO_ASSAY: b"y"})
    gone = replace(sound, files={})
    assert state("a", changed) == (Status.BROKEN, "is not the file")
    assert state("a", gone) == (Status.BROKEN, "is listed in SHA256SUMS")
    assert state("a", replace(sound, listed={})) == (Status.BROKEN, "is not listed in")
    # Contents are typed into a list of units to assay.
    assert state(TO_ASSAY, changed) == (Status.UNCHECKED, "was changed since it")
    assert state(TO_ASSAY, gone) == (Status.UNCHECKED, "is listed in SHA256SUMS")


def test_reports_beside_one_are_looked_at_in_the_order_of_their_names(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    names = [f"B-{place}" for place in range(9)]
    for name in names:
        (tmp_path / name).mkdir()
        (tmp_path / name / "result.json").write_text(name)
    usual = Path.glob
    monkeypatch.setattr(Path, "glob", lambda place, pattern: sorted(usual(place, pattern), reverse=True))
    monkeypatch.chdir(tmp_path)
    filed: Any = SimpleNamespace(folder=SimpleNamespace(path=tmp_path / "B-3"))
    found = [(folder.name, content.decode()) for folder, content in predecessor._beside(filed)]
    assert found == [(name, name) for name in names if name != "B-3"]


@pytest.mark.parametrize(
    ("then", "today", "same"),
    [
        *((1000.0, 1000.0 * (1 + 0.9e-6), True), (1000.0, 1000.0 * (1 + 1.1e-6), False)),
        *((0.0, 0.9e-6, True), (0.0, 1.1e-6, False), (3, 3.0, True), (3, 4, False), (True, True, True)),
        *((True, False, False), ("a", "a", True), ("a", "b", False), (None, 0.0, False), (0.0, None, False)),
        *(([1.0, 2.0], [1.0, 2.0 + 1e-9], True), ([1.0], [1.0, 2.0], False), ([1.0, 2.0], [1.0, 3.0], False)),
        *(({"a": 1.0, "b": "x"}, {"b": "x", "a": 1.0 + 1e-9}, True), ({"a": 1.0}, {"b": 1.0}, False)),
        ({"a": 1.0, "b": 2.0}, {"a": 1.0, "b": 3.0}, False),
    ],
)
def test_figures_of_two_judgings_agree_to_the_sixth_digit(then: object, today: object, same: bool) -> None:
    assert again._agree(then, today) is same
