"""What `verify` notices: every changed byte, every part that belongs to another report, every rule that moved."""

from __future__ import annotations

import hashlib
import itertools
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace
from pikepdf import Array, Dictionary, Name, Pdf

from qc.document import as_text
from qc.jobs.check import Checked, check_batch
from qc.jobs.seal import packed, result_sha256, unpacked
from qc.jobs.supersede import next_free_folder, superseded_mark, superseding
from qc.jobs.verify import Line, Outcome, Status, Verified, verify_report
from qc.jobs.verify import again as verify_again
from qc.jobs.verify.pages import letters_of, not_said
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.rules.rule_books import RuleDigest, rule_digests
from qc.show.filing import file_whole, sums_text
from qc.show.write import render_report

pytestmark = pytest.mark.usefixtures("plain_pictures", "drawn_once")

HOUSE = """
[[rule]]
id = "st-example"
builds_on = "ph-eur-2.9.5"
source = "Standard procedure 12, 2026"
forms = ["suppositories"]
limit_percent = 4
"""
FILES = ("SHA256SUMS", "report.html", "report.pdf", "result.json")
MASSES = [f"2.0{number * 7 % 40:02d}" for number in range(1, 21)]
FORM = ReadOptions(form="suppositories")
DRAWN_OTHERWISE = (
    "says what this version says, and is drawn otherwise: other libraries or fonts, or it was changed; look at it "
    "beside the input"
)


def written(path: Path, masses: list[str]) -> Path:
    path.write_text("\n".join(["Unit,Mass (g)", *(f"{n},{mass}" for n, mass in enumerate(masses, 1))]) + "\n")
    return path


@pytest.fixture(scope="module")
def filed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an input, a house file, and the report of each of two sets of rules; never changed by a test."""
    place = tmp_path_factory.mktemp("filed")
    batch = written(place / "batch.csv", MASSES)
    (place / "house.toml").write_text(HOUSE)
    for name, rules in (("built-in", None), ("house", place / "house.toml")):
        checked = check_batch(batch, options=FORM, rules=rules)
        file_whole(place / name, render_report(checked.to_draw(), document=checked.sealed(checked.to_draw())))
    return place


@pytest.fixture
def copied(filed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of everything, in a working folder that holds nothing else."""
    place = tmp_path / "cabinet"
    shutil.copytree(filed, place)
    (tmp_path / "empty").mkdir()
    monkeypatch.chdir(tmp_path / "empty")
    return place


def broken(verified: Verified) -> list[str]:
    return [f"{line.what} {line.told}" for line in verified.lines if line.state is Status.BROKEN]


def states(verified: Verified, what: str) -> list[Status]:
    return [line.state for line in verified.lines if line.what == what]


def rewritten(folder: Path, change: Callable[[dict[str, Any]], None], *, sealed_anew: bool) -> None:
    """A forger at work: change the result, and make the list of digests (and the seal) agree again."""
    document = json.loads((folder / "result.json").read_text())
    change(document)
    if sealed_anew:
        document["seal"]["result_sha256"] = result_sha256(document)
    (folder / "result.json").write_text(as_text(document), newline="\n")
    listed_anew(folder)


def listed_anew(folder: Path) -> None:
    files = {name: (folder / name).read_bytes() for name in FILES if name != "SHA256SUMS"}
    (folder / "SHA256SUMS").write_text(sums_text(files), newline="\n")


def paths_in(value: Any, *, before: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to every part that can be replaced; of a list the first member stands for the others."""
    parts = value.items() if isinstance(value, dict) else enumerate(value[:1]) if isinstance(value, list) else ()
    return [way for key, part in parts for way in ((*before, key), *paths_in(part, before=(*before, key)))]


class TestTogether:
    def test_a_report_that_has_the_name_of_its_input_is_not_taken_for_it(self, copied: Path) -> None:
        (copied / "batch.csv").unlink()
        (copied / "built-in").rename(copied / "batch.csv")
        assert states(verify_report(copied / "batch.csv"), "input") == [Status.UNCHECKED]

    def test_a_file_that_was_put_there_by_hand_is_named_as_no_part_of_the_report(self, copied: Path) -> None:
        for name in ("note.txt", "scan.pdf", ".hidden"):
            (copied / "built-in" / name).write_bytes(b"{}")
        lines = verify_report(copied / "built-in").lines
        told = "note.txt and scan.pdf: not in SHA256SUMS, so no part of the report"
        assert [line for line in lines if line.what == "also there"] == [Line(Status.REMARK, "also there", told)]

    def test_a_report_as_it_was_filed_belongs_together_line_by_line(self, copied: Path) -> None:
        verified = verify_report(copied / "built-in")
        assert verified.outcome is Outcome.TOGETHER
        sealed = json.loads((copied / "built-in" / "result.json").read_text())["seal"]
        count = len(sealed["rules"])
        assert [f"{line.what} {line.told}" for line in verified.lines] == [
            "report.html is the file that SHA256SUMS lists",
            "report.pdf is the file that SHA256SUMS lists",
            "result.json is the file that SHA256SUMS lists",
            f"result is the one that was sealed ({sealed['result_sha256'][:12]}...)",
            "seal says the same as the result about input, rules, version and names",
            "report.html prints the digests of this result, its input and its rules",
            "report.pdf carries the digest of this result",
            "report.html says the batch, its verdicts and what was measured of its units, as the result does",
            "report.pdf says the batch, its verdicts and what was measured of its units, as the result does",
            "input batch.csv is the file that was judged",
            f"rules the records of {count} rules and their editions are what they were",
            "judged again version 0.1.0 comes to the same verdicts and figures",
            "report.html is what this version draws, byte for byte",
            "report.pdf is what this version draws, byte for byte",
        ]

    def test_a_report_by_house_rules_belongs_together(self, copied: Path) -> None:
        verified = verify_report(copied / "house" / "report.pdf", rules_path=copied / "house.toml")
        assert verified.outcome is Outcome.TOGETHER, broken(verified)
        assert states(verified, "rules") == [Status.HOLDS, Status.HOLDS]

    def test_the_input_may_bear_another_name_when_it_is_given(self, copied: Path) -> None:
        (copied / "batch.csv").rename(copied / "archive.csv")
        verified = verify_report(copied / "built-in", input_path=copied / "archive.csv")
        (line,) = [line for line in verified.lines if line.what == "input"]
        assert line.told == "archive.csv is the file that was judged, then named batch.csv"
        assert verified.outcome is Outcome.TOGETHER


class TestPartly:
    def test_without_the_input_the_rest_is_checked(self, copied: Path) -> None:
        (copied / "batch.csv").unlink()
        verified = verify_report(copied / "built-in")
        assert verified.outcome is Outcome.PARTLY
        assert [line for line in verified.lines if line.state is not Status.HOLDS] == [
            Line(state=Status.UNCHECKED, what="input", told="batch.csv is not at hand; give it with --input"),
            Line(state=Status.UNCHECKED, what="judged again", told="not done, because the input is not at hand"),
        ]

    def test_without_the_house_file_the_rest_is_checked(self, copied: Path) -> None:
        (copied / "house.toml").unlink()
        verified = verify_report(copied / "house")
        assert verified.outcome is Outcome.PARTLY
        assert [line.told for line in verified.lines if line.state is Status.UNCHECKED] == [
            "house.toml is not at hand; give it with --rules",
            "not done, because the house rule file is not at hand",
        ]


class TestChangedBytes:
    """One byte anywhere in any file of the report, or in the input, is noticed."""

    @pytest.mark.parametrize("name", FILES)
    def test_a_byte_of_a_file_of_the_report(self, name: str, copied: Path) -> None:
        (copied / "batch.csv").unlink()
        path = copied / "built-in" / name
        content = path.read_bytes()
        places = sorted({*range(0, len(content), max(1, len(content) // 13)), len(content) - 1})
        unnoticed = []
        for place, bits in zip(places, itertools.cycle((0x01, 0x20, 0x80))):
            path.write_bytes(content[:place] + bytes([content[place] ^ bits]) + content[place + 1 :])
            if verify_report(copied / "built-in").outcome is not Outcome.BROKEN:
                unnoticed.append((place, bits))
        assert unnoticed == []
        path.write_bytes(content)
        assert verify_report(copied / "built-in").outcome is Outcome.PARTLY, "and nothing was noticed without a change"

    @pytest.mark.parametrize("name", FILES)
    @pytest.mark.parametrize("tail", [b"\n", b" ", b"\x00"])
    def test_a_byte_more_and_a_byte_less(self, name: str, tail: bytes, copied: Path) -> None:
        (copied / "batch.csv").unlink()
        path = copied / "built-in" / name
        content = path.read_bytes()
        for changed in (content + tail, content[:-1]):
            path.write_bytes(changed)
            assert verify_report(copied / "built-in").outcome is Outcome.BROKEN

    def test_a_byte_of_the_input(self, copied: Path) -> None:
        path = copied / "batch.csv"
        content = path.read_bytes()
        for place in range(0, len(content), 40):
            path.write_bytes(content[:place] + bytes([content[place] ^ 1]) + content[place + 1 :])
            assert broken(verify_report(copied / "built-in")) == [
                f"input {path} is not the file that was judged: it was changed, or is another one"
            ]

    @pytest.mark.parametrize("name", FILES)
    def test_a_file_that_is_gone(self, name: str, copied: Path) -> None:
        (copied / "built-in" / name).unlink()
        verified = verify_report(copied / "built-in")
        assert verified.outcome is Outcome.BROKEN
        assert any(name in line for line in broken(verified))

    def test_a_list_of_digests_with_the_line_ends_of_another_system(self, copied: Path) -> None:
        path = copied / "built-in" / "SHA256SUMS"
        path.write_bytes(path.read_bytes().replace(b"\n", b"\r\n"))
        assert broken(verify_report(copied / "built-in")) == [
            "SHA256SUMS is not in the form in which it is written: it was changed"
        ]

    def test_a_file_that_was_taken_off_the_list(self, copied: Path) -> None:
        path = copied / "built-in" / "SHA256SUMS"
        path.write_text("".join(path.read_text().splitlines(keepends=True)[1:]))
        assert broken(verify_report(copied / "built-in")) == ["report.html is not listed in SHA256SUMS"]


class TestForgery:
    """Somebody who makes the list of digests agree again is still found where the rest was not rewritten too."""

    def test_a_result_written_in_another_form_is_told_though_its_list_and_seal_agree(self, copied: Path) -> None:
        folder = copied / "built-in"
        text = (folder / "result.json").read_text()
        (folder / "result.json").write_text(text.replace(": ", ":  ", 1))
        listed_anew(folder)
        assert "result.json is not in the form in which it was written: it was changed" in broken(verify_report(folder))

    def test_a_verdict_changed_in_the_result(self, copied: Path) -> None:
        folder = copied / "built-in"
        rewritten(folder, lambda document: document.update(verdict="does-not-comply"), sealed_anew=False)
        assert "result is not the one that was sealed: its digest is another one" in broken(verify_report(folder))

    def test_a_verdict_changed_and_sealed_anew(self, copied: Path) -> None:
        folder = copied / "built-in"
        rewritten(folder, lambda document: document.update(verdict="undecided"), sealed_anew=True)
        found = broken(verify_report(folder))
        assert found == [
            "report.html does not print the digest of the result, result.json",
            "report.pdf does not carry the digest of this result",
            "report.html is of another result: it does not say the verdict of the batch",
            "report.pdf is of another result: it does not say the verdict of the batch",
            "judged again version 0.1.0 judges differently:",
            "judged again batch, verdict: undecided -> complies",
            "seal was changed: what the pages were drawn from is not this result",
        ]

    def test_a_figure_and_a_unit_changed_and_sealed_anew(self, copied: Path) -> None:
        def change(document: dict[str, Any]) -> None:
            document["tests"][0]["figures"]["beyond_limit"] = 1
            document["units"][6]["mass_g"] = 2.5

        folder = copied / "built-in"
        rewritten(folder, change, sealed_anew=True)
        found = broken(verify_report(folder))
        assert "judged again Uniformity of mass, units beyond the limit: 1 -> 0" in found

    def test_an_estimate_changed_and_sealed_anew(self, copied: Path) -> None:
        def change(document: dict[str, Any]) -> None:
            document["causes"][0]["probability"] = 0.5

        folder = copied / "built-in"
        rewritten(folder, change, sealed_anew=True)
        told = "judged again other parts of the result differ (other numerical libraries, or changed): causes"
        assert told in broken(verify_report(folder))

    @pytest.mark.parametrize(
        ("change", "told"),
        [
            (lambda seal: seal["entered_by"].update(checked_by="somebody"), "who entered it"),
            (lambda seal: seal["input"].update(sha256="0" * 64), "the input"),
            (lambda seal: seal.update(qc_version="9.9"), "the version"),
            (lambda seal: seal["rule_set"].update(id="ph-eur"), "the rule set"),
            (lambda seal: seal["rules"].pop("ph-eur-2.9.5"), "the rules"),
        ],
    )
    def test_a_seal_that_says_otherwise_than_the_result(
        self, change: Callable[[dict[str, Any]], None], told: str, copied: Path
    ) -> None:
        folder = copied / "built-in"
        (copied / "batch.csv").unlink()
        rewritten(folder, lambda document: change(document["seal"]), sealed_anew=False)
        found = broken(verify_report(folder))
        assert f"seal differs from the result in {told}" in found
        # The pages print the digest of the input that was read.
        lacking = "result.json, the input" if told == "the input" else "result.json"
        assert f"report.html does not print the digest of {lacking}" in found

    @pytest.mark.parametrize("part", ["result_sha256", "rules", "asked", "entered_by", "rule_set", "qc_version"])
    def test_a_seal_that_lacks_a_part(self, part: str, copied: Path) -> None:
        folder = copied / "built-in"
        rewritten(folder, lambda document: document["seal"].pop(part), sealed_anew=False)
        assert broken(verify_report(folder)) == ["result.json carries no seal, or one that was damaged"]

    def test_the_record_of_a_rule_that_is_not_todays(self, copied: Path) -> None:
        folder = copied / "built-in"
        (copied / "batch.csv").unlink()
        rewritten(
            folder,
            lambda document: document["seal"]["rules"]["ph-eur-2.9.5"].update(sha256="0" * 64),
            sealed_anew=False,
        )
        (edition,) = (one.edition for one in rule_digests(["ph-eur-2.9.5"], rules=None).values())
        assert broken(verify_report(folder)) == [
            "report.html does not print the digest of result.json, rule ph-eur-2.9.5",
            f"rule ph-eur-2.9.5 its record was changed since; the edition is the same ({edition})",
            "report.html does not say what this version writes of this result: it was changed",
            "report.pdf does not say what this version writes of this result: it was changed",
        ]

    def test_a_page_of_another_report(self, copied: Path) -> None:
        for name in ("report.html", "report.pdf"):
            shutil.copy(copied / "house" / name, copied / "built-in" / name)
        listed_anew(copied / "built-in")
        found = broken(verify_report(copied / "built-in"))
        assert "report.pdf does not carry the digest of this result" in found
        assert any(line.startswith("report.html does not print the digest of the result") for line in found)

    @pytest.mark.parametrize(
        ("word", "other", "of"),
        [
            ("</span> Complies", "</span> Does not comply", "the verdict of the batch"),
            ("<strong>complies</strong>", "<strong>does not comply</strong>", "the verdict of Uniformity of mass"),
            (
                "<strong>complies</strong>",
                "<strong>complies</strong><p>Uniformity of mass</p>not assessed",
                "the verdict of Uniformity of mass",
            ),
        ],
    )
    @pytest.mark.parametrize("input_at_hand", [True, False])
    def test_a_verdict_changed_on_the_page_and_the_list_made_anew(
        self, word: str, other: str, of: str, input_at_hand: bool, copied: Path
    ) -> None:
        page = copied / "built-in" / "report.html"
        assert word in page.read_text()
        page.write_text(page.read_text().replace(word, other, 1))
        listed_anew(copied / "built-in")
        if not input_at_hand:
            (copied / "batch.csv").unlink()
        changed = ["report.html does not say what this version writes of this result: it was changed"]
        told = f"report.html is of another result: it does not say {of}"
        assert broken(verify_report(copied / "built-in")) == [told, *changed]

    @pytest.mark.parametrize(
        ("words", "others"),
        [
            ("Assay 10 whole units", "Release the batch"),
            ("beyond 5\xa0% of the mean: <strong>0\xa0of\xa020", "beyond 5\xa0% of the mean: <strong>1\xa0of\xa020"),
            (">2.007<", ">2.017<"),
            ("under 1\xa0%", "6\xa0%"),
            ("The pharmacopoeia in force", "No pharmacopoeia in force"),
        ],
    )
    def test_whatever_is_changed_on_the_page_and_the_list_made_anew_without_the_input(
        self, words: str, others: str, copied: Path
    ) -> None:
        """Advice, a figure, a mass, a probability, a sentence: each stands in what the seal holds."""
        page = copied / "built-in" / "report.html"
        assert words in page.read_text()
        page.write_text(page.read_text().replace(words, others, 1))
        listed_anew(copied / "built-in")
        (copied / "batch.csv").unlink()
        changed = "report.html does not say what this version writes of this result: it was changed"
        assert changed in broken(verify_report(copied / "built-in"))

    @pytest.mark.parametrize("value", ["x", "e30=", packed(None), packed({"tests": float("inf")})])  # type: ignore[arg-type]
    def test_whatever_stands_in_a_seal_in_place_of_what_was_drawn_is_told(self, value: str, copied: Path) -> None:
        rewritten(copied / "built-in", lambda document: document["seal"].update(drawn_from=value), sealed_anew=False)
        told = "seal was changed: what the pages were drawn from cannot be read"
        assert told in broken(verify_report(copied / "built-in"))

    def test_pages_drawn_anew_from_a_changed_seal_are_told_by_the_input(self, copied: Path) -> None:
        folder = copied / "built-in"
        document = json.loads((folder / "result.json").read_text())
        judged = unpacked(document["seal"]["drawn_from"])
        forged = replace(judged, rules_used=tuple(replace(one, work="A better book") for one in judged.rules_used))
        document["seal"]["drawn_from"] = packed(forged)
        (folder / "report.html").unlink()
        file_whole(folder, render_report(forged, document=document), replace=True)
        assert broken(verify_report(folder)) == ["pages were drawn from another result than this version comes to"]

    def test_a_word_changed_on_the_page_and_the_list_made_anew(self, copied: Path) -> None:
        page = copied / "built-in" / "report.html"
        page.write_text(page.read_text().replace("Decided by (pharmacist)", "Released by (physician)"))
        listed_anew(copied / "built-in")
        assert broken(verify_report(copied / "built-in")) == [
            "report.html does not say what this version writes of this result: it was changed"
        ]

    @pytest.mark.parametrize("input_at_hand", [True, False])
    @pytest.mark.parametrize(
        ("added", "told"),
        [
            ("a stamp", "an annotation or stamp on page 1"),
            ("a picture", "a picture made of dots"),
            ("a script", "an action"),
            ("a byte", "something added behind the end of the file"),
        ],
    )
    def test_what_no_report_is_drawn_with_may_cover_the_pdf(
        self, added: str, told: str, input_at_hand: bool, copied: Path
    ) -> None:
        path = copied / "built-in" / "report.pdf"
        with Pdf.open(path, allow_overwriting_input=True) as opened:
            first = opened.pages[0]
            if added == "a stamp":
                stamp = Dictionary(Type=Name.Annot, Subtype=Name.Stamp, Rect=Array([30, 600, 300, 700]))
                first.obj["/Annots"] = Array([opened.make_indirect(stamp)])
            elif added == "a picture":
                dots = {"Subtype": Name.Image, "Width": 1, "Height": 1, "BitsPerComponent": 8}
                first.add_resource(opened.make_stream(b"x", ColorSpace=Name.DeviceGray, **dots), Name.XObject)
            elif added == "a script":
                opened.Root["/OpenAction"] = Dictionary(S=Name.JavaScript, JS="app.alert(1)")
            if added != "a byte":
                opened.save(path)
        if added == "a byte":
            path.write_bytes(path.read_bytes() + b"\n")
        listed_anew(copied / "built-in")
        if not input_at_hand:
            (copied / "batch.csv").unlink()
        found = broken(verify_report(copied / "built-in"))
        assert found == [f"report.pdf holds what no report is drawn with: {told}"]

    def test_a_pdf_that_was_written_anew_by_another_program_is_open(self, copied: Path) -> None:
        path = copied / "built-in" / "report.pdf"
        with Pdf.open(path, allow_overwriting_input=True) as opened:
            opened.save(path)
        listed_anew(copied / "built-in")
        verified = verify_report(copied / "built-in")
        assert verified.outcome is Outcome.PARTLY
        assert [(line.what, line.told) for line in verified.lines if line.state is not Status.HOLDS] == [
            ("report.pdf", DRAWN_OTHERWISE)
        ]

    def test_what_is_laid_over_a_picture_of_the_page_is_found(self, copied: Path) -> None:
        page = copied / "built-in" / "report.html"
        page.write_text(page.read_text().replace("</svg>", "<foreignObject>COMPLIES</foreignObject></svg>", 1))
        listed_anew(copied / "built-in")
        assert broken(verify_report(copied / "built-in")) == [
            "report.html holds in its pictures what this version draws none with: foreignobject"
        ]

    def test_another_drawing_is_open_because_the_drawing_libraries_differ(self, copied: Path) -> None:
        page = copied / "built-in" / "report.html"
        page.write_text(page.read_text().replace("<path d=", "<path  d=", 1))
        listed_anew(copied / "built-in")
        verified = verify_report(copied / "built-in")
        assert verified.outcome is Outcome.PARTLY
        assert [line.told for line in verified.lines if line.state is not Status.HOLDS] == [DRAWN_OTHERWISE]

    def test_the_house_file_that_judged_was_changed(self, copied: Path) -> None:
        path = copied / "house.toml"
        path.write_text(HOUSE.replace("= 4", "= 3"))
        verified = verify_report(copied / "house")
        assert broken(verified) == [
            f"rules {path} is not the house rule file that judged: it was changed, or is another one"
        ]


class TestLaterVersion:
    """What a later version finds: a rule that moved is told, and only a different judgement is a break."""

    @pytest.fixture(autouse=True)
    def later(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(verify_again, "__version__", "0.2.0")

    def test_the_same_judgement_belongs_together_but_for_how_the_pages_are_drawn(self, copied: Path) -> None:
        verified = verify_report(copied / "built-in")
        assert verified.outcome is Outcome.PARTLY
        assert [line.told for line in verified.lines[-2:]] == [
            "version 0.2.0 (then 0.1.0) comes to the same verdicts and figures",
            "were drawn by version 0.1.0, and only that one can say whether they are as it drew them",
        ]

    def test_another_edition_is_a_remark(self, copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        def newer(ids: list[str], *, rules: str | Path | None) -> dict[str, RuleDigest]:
            found = rule_digests(ids, rules=rules)
            return {id: replace(one, edition="13.0", sha256="0" * 64) for id, one in found.items()}

        monkeypatch.setattr(verify_again, "rule_digests", newer)
        verified = verify_report(copied / "built-in")
        told = {line.what: line.told for line in verified.lines if line.state is Status.REMARK}
        assert told["rule ph-eur-2.9.5"].endswith(", today 13.0")
        assert verified.outcome is Outcome.PARTLY

    def test_a_rule_that_is_gone_is_a_remark(self, copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        def gone(ids: list[str], *, rules: str | Path | None) -> dict[str, RuleDigest]:
            raise InputProblems([])

        monkeypatch.setattr(verify_again, "rule_digests", gone)
        remarks = [line for line in verify_report(copied / "built-in").lines if line.state is Status.REMARK]
        assert {line.told for line in remarks} == {"is not among the rules of today"}

    def test_another_figure_is_a_break_and_named(self, copied: Path) -> None:
        folder = copied / "built-in"
        rewritten(folder, lambda d: d["tests"][0]["figures"].update(beyond_double=2), sealed_anew=True)
        assert "judged again Uniformity of mass, units beyond the outer limit: 2 -> 0" in broken(verify_report(folder))


class TestUnusable:
    @pytest.mark.parametrize(
        ("name", "message"),
        [
            ("missing", "missing: there is no such folder. Give the folder of a report, or a file in it."),
            (
                "empty",
                "empty: this is not the folder of a report: it holds neither SHA256SUMS nor result.json. "
                "Give the folder that qc check wrote.",
            ),
        ],
    )
    def test_no_report(self, name: str, message: str, tmp_path: Path) -> None:
        (tmp_path / "empty").mkdir()
        with pytest.raises(InputProblems) as refused:
            verify_report(tmp_path / name)
        assert str(refused.value) == message

    def test_an_input_that_is_not_there(self, copied: Path) -> None:
        with pytest.raises(InputProblems) as refused:
            verify_report(copied / "built-in", input_path=copied / "none.csv")
        assert str(refused.value) == (
            "none.csv: there is no such file. See whether the name is right and you may read it."
        )

    def test_a_house_file_where_none_judged(self, copied: Path) -> None:
        with pytest.raises(InputProblems) as refused:
            verify_report(copied / "built-in", rules_path=copied / "house.toml")
        assert str(refused.value) == (
            "house.toml: this report was judged without a house rule file. Leave --rules out."
        )

    def test_no_value_of_another_kind_ends_in_a_fault(self, copied: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """Whoever seals anything at all anew gets an answer in lines, never a traceback."""
        folder = copied / "built-in"
        again = check_batch(copied / "batch.csv", options=FORM)
        monkeypatch.setattr(verify_again, "check_batch", lambda *_, **__: again)
        monkeypatch.setattr(verify_again, "render_report", lambda *_, **__: {"report.html": b"", "report.pdf": b""})
        sound = json.loads((folder / "result.json").read_text())
        record = {"result_sha256": "0", "verdict": "complies", "because": "x", "differences": []}
        unnoticed = []
        odds: tuple[Any, ...] = (None, 3, "x", [], {}, [3], {"x": 3})
        for path, odd_one in zip(paths_in({**sound, "supersedes": record}), itertools.cycle(odds)):
            for odd in odds if path[0] == "seal" and len(path) < 3 else (odd_one,):
                document = json.loads(json.dumps({**sound, "supersedes": record}))
                part = document
                for step in path[:-1]:
                    part = part[step]
                if part[path[-1]] == odd:
                    continue
                part[path[-1]] = odd
                if isinstance(document["seal"], dict):
                    document["seal"]["result_sha256"] = result_sha256(document)
                (folder / "result.json").write_text(as_text(document), newline="\n")
                listed_anew(folder)
                if verify_report(folder).outcome is not Outcome.BROKEN:
                    unnoticed.append((path, odd))
        assert unnoticed == []

    @pytest.mark.parametrize(
        "content",
        [
            b"",
            b"{",
            b"[]",
            b"\xff\xfe",
            b'{"schema": NaN}',
            b'{"schema": 1e999}',
            b'{"schema": "\\ud800"}',
            b"[" * 100000,
        ],
    )
    def test_a_result_that_is_no_document_is_a_break(self, content: bytes, copied: Path) -> None:
        folder = copied / "built-in"
        (folder / "result.json").write_bytes(content)
        listed_anew(folder)
        assert broken(verify_report(folder)) == ["result.json is not a result document any more"]

    @pytest.mark.parametrize(
        ("seed", "told"), [(-1, ["result.json carries no seal, or one that was damaged"]), (2**70, [])]
    )
    def test_a_seed_below_zero_is_none(self, copied: Path, seed: int, told: list[str]) -> None:
        folder = copied / "built-in"
        rewritten(folder, lambda document: document.update(seed=seed), sealed_anew=True)
        found = broken(verify_report(folder))
        assert [line for line in found if line.startswith("result.json")] == told
        assert found

    @pytest.mark.parametrize("length", [255, 256])
    def test_a_name_that_no_file_can_have_is_looked_for_nowhere(self, copied: Path, length: int) -> None:
        def change(document: dict[str, Any]) -> None:
            for part in (document["input"], document["seal"]["input"]):
                part["name"] = "a" * length

        folder = copied / "built-in"
        rewritten(folder, change, sealed_anew=True)
        assert states(verify_report(folder), "input") == [Status.UNCHECKED]

    @pytest.mark.parametrize("place", [("verdict",), ("batch", "note"), ("seal", "asked", "form"), ("input", "name")])
    def test_half_a_surrogate_pair_is_no_text_of_a_result(self, copied: Path, place: tuple[str, ...]) -> None:
        folder = copied / "built-in"
        document = json.loads((folder / "result.json").read_text())
        part = document
        for key in place[:-1]:
            part = part[key]
        part[place[-1]] = "x\ud800"
        (folder / "result.json").write_text(json.dumps(document))
        listed_anew(folder)
        assert broken(verify_report(folder)) == ["result.json is not a result document any more"]

    def test_a_name_in_the_seal_leads_nowhere_else(self, copied: Path) -> None:
        def change(document: dict[str, Any]) -> None:
            for part in (document["input"], document["seal"]["input"]):
                part["name"] = "../cabinet/batch.csv"

        folder = copied / "built-in"
        rewritten(folder, change, sealed_anew=True)
        assert states(verify_report(folder), "input") == [Status.UNCHECKED]


def with_digest_of(other: bytes, page: bytes, pattern: bytes) -> bytes:
    """Another batch's page with the digest of this result in place of its own."""
    (digest,), (own,) = set(re.findall(pattern, page)), set(re.findall(pattern, other))
    return other.replace(own, digest)


class TestAnotherPage:
    """A page of another batch that was given the digests of this result is told by what it says."""

    @pytest.fixture
    def other(self, copied: Path) -> Path:
        masses = [f"1.9{number * 7 % 40:02d}" for number in range(1, 21)]
        checked = check_batch(written(copied / "other.csv", masses), options=FORM)
        file_whole(copied / "other", render_report(checked.to_draw(), document=checked.sealed(checked.to_draw())))
        return copied / "other"

    @pytest.mark.parametrize("input_at_hand", [True, False])
    @pytest.mark.parametrize("name", ["report.html", "report.pdf"])
    def test_is_broken_with_the_input_and_without(
        self, name: str, input_at_hand: bool, copied: Path, other: Path
    ) -> None:
        folder, pattern = copied / "built-in", rb"result-sha256[:\" content=]+([0-9a-f]{64})"
        ours, theirs = (folder / name).read_bytes(), (other / name).read_bytes()
        (folder / name).write_bytes(with_digest_of(theirs, ours, pattern))
        listed_anew(folder)
        if not input_at_hand:
            (copied / "batch.csv").unlink()
        found = broken(verify_report(folder))
        assert [line for line in found if line.startswith(f"{name} is of another result: it does not say mass ")] != []
        assert f"{name} does not say what this version writes of this result: it was changed" in found

    def test_a_number_changed_in_the_text_of_the_pdf_is_told_from_another_way_to_draw(self, copied: Path) -> None:
        folder = copied / "built-in"
        letter = check_batch(copied / "batch.csv", options=FORM)
        drawn = render_report(letter.to_draw(), document=json.loads((folder / "result.json").read_text()))
        assert "does not say" not in " ".join(broken(verify_report(folder)))
        assert letters_of(drawn["report.pdf"]) == letters_of((folder / "report.pdf").read_bytes())
        assert not_said(json.loads((folder / "result.json").read_text()), b"%PDF-1.7 nothing") != ()


class TestSuperseded:
    """A correction names the report it supersedes, why, and what differs."""

    def test_the_new_result_carries_verdict_reason_and_differences(self, copied: Path) -> None:
        batch = written(copied / "batch.csv", [*MASSES[:19], "2.400"])
        checked = superseding(
            check_batch(batch, options=FORM), report=copied / "built-in", because="unit 20 was typed wrongly"
        )
        # Near the head, where a search through many results finds it.
        assert list(checked.document)[:5] == ["schema", "qc_version", "input", "supersedes", "batch"]
        record = checked.document["supersedes"]
        assert isinstance(record, dict)
        earlier = json.loads((copied / "built-in" / "result.json").read_text())
        assert record["result_sha256"] == earlier["seal"]["result_sha256"]
        assert (record["verdict"], record["because"]) == ("complies", "unit 20 was typed wrongly")
        told = [(one["where"], one["what"], one["before"], one["after"]) for one in record["differences"]]
        assert told[0] == ("batch", "verdict", "complies", "does-not-comply")
        assert ("Uniformity of mass", "beyond_double", 0, 1) in told
        assert ("Uniformity of mass", "units outside", None, "20") in told
        assert told[-1] == ("unit 20", "mass_g", float(MASSES[19]), 2.4)

    def test_other_rules_are_among_the_differences(self, copied: Path) -> None:
        checked = superseding(
            check_batch(copied / "batch.csv", options=FORM, rules=copied / "house.toml"),
            report=copied / "built-in",
            because="the house rules were left out",
        )
        record = checked.document["supersedes"]
        assert isinstance(record, dict)
        told = [(one["where"], one["what"], one["after"]) for one in record["differences"]]
        digest = hashlib.sha256((copied / "house.toml").read_bytes()).hexdigest()
        assert ("Uniformity of mass", "rule", "st-example") in told
        assert ("rule st-example", "SHA-256 of its record", digest) in told

    def test_a_superseding_report_belongs_together_and_prints_what_it_supersedes(self, copied: Path) -> None:
        checked = superseding(
            check_batch(copied / "batch.csv", options=FORM), report=copied / "built-in", because="printed badly"
        )
        file_whole(copied / "second", render_report(checked.to_draw(), document=checked.sealed(checked.to_draw())))
        (copied / "built-in" / "superseded.json").write_bytes(superseded_mark(checked, folder=copied / "second"))
        page = (copied / "second" / "report.html").read_text()
        assert "This report supersedes" in page
        assert "Why: printed badly." in page
        assert "No verdict, figure, fact or unit differs." in page
        assert verify_report(copied / "second").outcome is Outcome.TOGETHER

    def test_a_report_of_another_batch_is_not_superseded(self, copied: Path) -> None:
        other = written(copied / "other.csv", [f"1.9{number * 7 % 40:02d}" for number in range(1, 21)])
        with pytest.raises(InputProblems) as refused:
            superseding(check_batch(other, options=FORM), report=copied / "built-in", because="x")
        assert str(refused.value) == (
            "built-in: the report is of another batch: most of its units have other masses. Give the earlier report of "
            "this batch with --supersedes; where its number or product was typed wrongly there, name what was typed in "
            "--because."
        )

    @pytest.mark.parametrize(("fact", "told"), [("Batch number", "its number is B-7"), ("Product", "its product is P")])
    def test_nor_is_one_of_another_number_or_product_unless_the_reason_names_it(
        self, fact: str, told: str, tmp_path: Path
    ) -> None:
        def checked(number: str, product: str) -> Checked:
            place = tmp_path / "batch"
            place.mkdir(exist_ok=True)
            written(place / "units.csv", MASSES)
            facts = {"Batch number": number, "Product": product, "Dosage form": "suppositories"}
            (place / "batch.csv").write_text("\n".join(["Field,Value", *map(",".join, facts.items())]) + "\n")
            return check_batch(place, options=ReadOptions())

        first = checked("B-7", "P")
        file_whole(tmp_path / "first", render_report(first.to_draw(), document=first.sealed(first.to_draw())))
        second = checked("B-8", "P") if fact == "Batch number" else checked("b-7", "Q")
        with pytest.raises(InputProblems) as refused:
            superseding(second, report=tmp_path / "first", because="mass of unit 7, not that of B-78 or PX")
        assert f"first: the report is of another batch: {told}, and here " in str(refused.value)
        named = superseding(second, report=tmp_path / "first", because="b-7 or p was typed wrongly")
        assert "supersedes" in named.document

    def test_a_report_is_superseded_once_and_the_later_one_is_named(self, copied: Path) -> None:
        checked = check_batch(copied / "batch.csv", options=FORM)
        second = superseding(checked, report=copied / "built-in", because="printed badly")
        file_whole(copied / "second", render_report(second.to_draw(), document=second.sealed(second.to_draw())))
        (copied / "built-in" / "superseded.json").write_bytes(superseded_mark(second, folder=copied / "second"))
        with pytest.raises(InputProblems) as refused:
            superseding(checked, report=copied / "built-in", because="x")
        assert "built-in: it was superseded by report " in str(refused.value)
        assert f"in its place: --supersedes {copied / 'second'}." in str(refused.value)
        # The later one itself may be replaced.
        superseding(checked, report=copied / "built-in", because="x", over=copied / "second")
        (copied / "built-in" / "superseded.json").write_bytes(b"{}")
        with pytest.raises(InputProblems, match="cannot be read"):
            superseding(checked, report=copied / "built-in", because="x")

    def test_the_earlier_report_is_looked_at_where_it_stands(self, copied: Path) -> None:
        def earlier() -> list[tuple[Status, str]]:
            lines = verify_report(copied / "second", input_path=copied / "batch.csv").lines
            return [(line.state, line.told) for line in lines if line.what == "earlier report"]

        checked = check_batch(copied / "batch.csv", options=FORM)
        second = superseding(checked, report=copied / "built-in", because="printed badly")
        file_whole(copied / "second", render_report(second.to_draw(), document=second.sealed(second.to_draw())))
        mark = copied / "built-in" / "superseded.json"
        unmarked = "does not say that this report supersedes it: its superseded.json is missing or names another"
        assert earlier() == [(Status.BROKEN, f"built-in {unmarked}")]
        told = "superseded.json is missing, and second says that it supersedes this report"
        assert broken(verify_report(copied / "built-in")) == [told]
        mark.write_bytes(superseded_mark(second, folder=copied / "second"))
        holds = (Status.HOLDS, "built-in is the one that this report supersedes, and says so")
        assert earlier() == [holds]
        assert broken(verify_report(copied / "built-in")) == []
        shutil.copytree(copied / "second", copied / "copy of the second")
        shutil.copytree(copied / "built-in", copied / "copy of the first")
        (copied / "copy of the first" / "superseded.json").unlink()
        assert earlier() == [holds]
        shutil.rmtree(copied / "copy of the first")
        page = copied / "built-in" / "report.html"
        content = page.read_bytes()
        page.write_bytes(content + b"\n")
        changed = "built-in was changed since it was filed; look into it with qc verify"
        assert earlier() == [(Status.BROKEN, changed)]
        page.write_bytes(content)
        shutil.move(mark, copied / "house")
        assert earlier() == [(Status.BROKEN, "house is not the one that this report supersedes")]
        for name in ("built-in", "house"):
            shutil.rmtree(copied / name)
        digest = second.document["supersedes"]["result_sha256"][:12]  # type: ignore[index]
        absent = f"{digest}, which this one supersedes, is not at hand; put it beside this one, or call from its folder"
        assert earlier() == [(Status.UNCHECKED, absent)]

    def test_what_a_correction_says_it_changed_is_held_against_the_earlier_report(self, copied: Path) -> None:
        checked = check_batch(copied / "batch.csv", options=FORM)
        second = superseding(checked, report=copied / "built-in", because="printed badly")
        made_up = [{"where": "unit 1", "what": "mass_g", "before": 9.0, "after": 2.0}]
        record = {**second.document["supersedes"], "differences": made_up}  # type: ignore[dict-item]
        second = replace(second, document={**second.document, "supersedes": record})
        file_whole(copied / "second", render_report(second.to_draw(), document=second.sealed(second.to_draw())))
        (copied / "built-in" / "superseded.json").write_bytes(superseded_mark(second, folder=copied / "second"))
        told = "earlier report built-in differs from this one in other points than this one says"
        assert broken(verify_report(copied / "second")) == [told]

    @pytest.mark.parametrize(("changed", "of_one"), [(10, True), (11, False)])
    def test_half_of_the_masses_tell_that_it_is_the_same_batch(self, changed: int, of_one: bool, copied: Path) -> None:
        batch = written(copied / "batch.csv", [*["2.050"] * changed, *MASSES[changed:]])
        checked = check_batch(batch, options=FORM)
        if of_one:
            assert "supersedes" in superseding(checked, report=copied / "built-in", because="x").document
        else:
            with pytest.raises(InputProblems, match="other masses"):
                superseding(checked, report=copied / "built-in", because="x")

    def test_a_superseded_report_says_so(self, copied: Path) -> None:
        checked = superseding(
            check_batch(copied / "batch.csv", options=FORM), report=copied / "built-in", because="printed badly"
        )
        mark = superseded_mark(checked, folder=copied / "second")
        (copied / "built-in" / "superseded.json").write_bytes(mark)
        verified = verify_report(copied / "built-in")
        assert verified.outcome is Outcome.TOGETHER
        seal = checked.sealed()["seal"]
        assert isinstance(seal, dict)
        assert verified.lines[-1] == Line(
            state=Status.REMARK,
            what="this report",
            told=f"was superseded by report {str(seal['result_sha256'])[:12]} in second ({seal['judged_at']}): printed "
            "badly",
        )
        (copied / "built-in" / "superseded.json").write_bytes(b"{}")
        assert broken(verify_report(copied / "built-in")) == [
            "superseded.json says that this report was superseded, and cannot be read any more"
        ]

    def test_a_report_that_was_tampered_with_is_not_superseded(self, copied: Path) -> None:
        page = copied / "built-in" / "report.html"
        page.write_bytes(page.read_bytes() + b"\n")
        with pytest.raises(InputProblems) as refused:
            superseding(check_batch(copied / "batch.csv", options=FORM), report=copied / "built-in", because="x")
        assert str(refused.value) == (
            "built-in: report.html is not the file that SHA256SUMS lists: one of the two was changed. "
            f"Look into it with: qc verify {copied / 'built-in'}."
        )

    def test_a_correction_goes_beside_the_reports_that_stand_there(self, copied: Path) -> None:
        assert next_free_folder(copied / "new") == copied / "new"
        assert next_free_folder(copied / "built-in") == copied / "built-in-2"
        shutil.copytree(copied / "built-in", copied / "built-in-2")
        assert next_free_folder(copied / "built-in") == copied / "built-in-3"


def test_the_forger_of_these_tests_makes_lists_that_hold(copied: Path) -> None:
    listed_anew(copied / "built-in")
    listed = (copied / "built-in" / "SHA256SUMS").read_text()
    assert hashlib.sha256((copied / "built-in" / "report.pdf").read_bytes()).hexdigest() in listed
    assert verify_report(copied / "built-in").outcome is Outcome.TOGETHER
