"""The rows of a sweep and what is made of them, its journal, and what makes an input the one that was judged before."""

from __future__ import annotations

import hashlib
import json
import os
import re
import sys
import tracemalloc
from collections.abc import Iterator
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zipfile import ZIP_DEFLATED, ZipFile

import msgspec
import pytest
from msgspec.structs import replace

from qc.batch import Active, Batch
from qc.document import as_text
from qc.jobs.check import check_batch
from qc.jobs.seal import call_of
from qc.jobs.sweep import journal as under_test
from qc.jobs.sweep import rows as under_rows
from qc.jobs.sweep.inputs import JOURNAL, find_inputs, input_of, is_results_workbook, made_by_qc
from qc.jobs.sweep.journal import Journal, Judged, as_it_was, digest_of, key_of
from qc.jobs.sweep.judging import OUT_OF_MEMORY, Judges, Limits, Task, as_line, judge_input
from qc.jobs.sweep.rows import (
    MOST_ON_PAGE,
    SweptBatch,
    _decided_by,
    _tests,
    _trend,
    cause_of,
    columns_of,
    counts_of,
    csv_of,
    page_of,
    to_do_of,
)
from qc.jobs.sweep.run import _refuse_over, _tasks, gravest, judged_rows, sweep
from qc.problems import Problem, RefusedCall
from qc.readers.guards import UnusableFileError
from qc.readers.options import ReadOptions
from qc.results import (
    BatchVerdict,
    JudgedBatch,
    Limit,
    PourAnalysis,
    PourTrend,
    TestResult,
    Trend,
    TrendFlag,
    UnitContent,
    UnitRow,
    Verdict,
)
from qc.show.filing import SUMS
from qc.show.headline import headline, sign
from qc.show.spark import MOST_POINTS
from qc.workbook.page import RESULTS_WORKBOOK

CALL = call_of(ReadOptions(form="suppositories"), rules=None)


def made(
    id: str, verdict: Verdict = Verdict.COMPLIES, *limits: tuple[float, float], active: str = "", subject: str = ""
) -> TestResult:
    criteria = tuple(
        Limit(
            what="beyond_limit",
            figure=figure,
            bound=bound,
            met=figure <= bound,
            unit="units",
            values={"percent": 5, "centre": "mean", "of": 20},
        )
        for figure, bound in limits
    )
    return TestResult(id=id, rule="", verdict=verdict, active=active or None, subject=subject, criteria=criteria)


def judged(*tests: TestResult, **more: object) -> JudgedBatch:
    return JudgedBatch(
        batch=Batch(units=()),
        rule_set="",
        verdict=BatchVerdict.UNDECIDED,
        tests=tests,
        **more,  # type: ignore[arg-type]
    )


def test_tests_of_one_kind_are_told_apart_by_what_they_are_about() -> None:
    found = _tests(
        judged(
            made("mass-uniformity", Verdict.COMPLIES, (1, 2)),
            made("content-uniformity", active="a"),
            made("content-uniformity", Verdict.DOES_NOT_COMPLY, (3, 2), active="b"),
            made("dosage-unit-uniformity", active="a"),
            made("appearance", subject="Appearance"),
            made("check", subject="softening"),
            made("check", subject="softening"),
            made("check", subject="softening"),
        )
    )
    assert found == {
        "mass-uniformity": ("complies", 1.0),
        "content-uniformity a": ("complies", None),
        "content-uniformity b": ("does-not-comply", 3.0),
        "dosage-unit-uniformity": ("complies", None),
        "appearance": ("complies", None),
        "check softening": ("complies", None),
        "check softening (2)": ("complies", None),
        "check softening (3)": ("complies", None),
    }


def test_a_row_is_decided_by_its_gravest_test_and_of_those_met_by_the_one_nearest_to_its_limit() -> None:
    def of(*tests: TestResult) -> str:
        return _decided_by(judged(*tests)).replace("\xa0", " ")

    far, near = made("mass-uniformity", Verdict.COMPLIES, (0, 2)), made("content-uniformity", Verdict.COMPLIES, (1, 2))
    assert of(far, near) == of(near, far) == of(near)
    assert of(near) != of(far)
    failed, due = made("mass-uniformity", Verdict.DOES_NOT_COMPLY, (3, 2)), made("x", Verdict.SECOND_STAGE)
    assert of(near, due, failed) == of(failed)
    assert of(near, due) == of(due)
    # What was not asked for and has no data decides on nothing; a limit of nothing has no share.
    absent = replace(made("content-uniformity", Verdict.NOT_ASSESSED), required=False)
    assert of(absent, near) == of(near)
    assert of(replace(absent, required=True), near) != of(near)
    nothing = made("mass-uniformity", Verdict.COMPLIES, (0, 0))
    assert of(nothing, near) == of(near)
    assert of(absent) == of() == ""
    # Of what is not counted in units nothing lies near.
    check = made("check", Verdict.COMPLIES, (99, 100), subject="softening")
    assert of(check, near) == of(near, check) == of(near)
    # Of a test with several limits the one counts that lies nearest.
    several = made("mass-uniformity", Verdict.COMPLIES, (0, 9), (2, 2))
    assert of(several, near) == of(near, several) == of(several)
    # A share is of what is allowed, not the figure by itself.
    of_many = made("mass-uniformity", Verdict.COMPLIES, (5, 100))
    assert of(of_many, near) == of(near)


def test_the_trend_of_a_row_is_the_clearest_of_its_masses_and_contents() -> None:
    def trend(mass: TrendFlag, *contents: TrendFlag) -> str:
        found = {str(place): Trend(flag=flag, n=10) for place, flag in enumerate(contents)}
        pour = PourAnalysis(trend=PourTrend(mass=Trend(flag=mass, n=10), content=found))
        return _trend(judged(pour=pour))

    clear, possible, none = TrendFlag.CLEAR, TrendFlag.POSSIBLE, TrendFlag.NONE_SEEN
    assert (trend(none), trend(none, possible), trend(possible, none, clear)) == ("none-seen", "possible", "clear")
    assert _trend(judged()) == ""


ROWS = (
    SweptBatch(
        file="/in/a.xlsx",
        sheet="May",
        batch="A-1",
        product="drug",
        verdict="complies",
        basis="mass-alone",
        sign="+",
        said="Complies",
        tests={"mass-uniformity": ("complies", 1.0)},
        decided_by="1 of 2",
        cause="sound",
        cause_probability=0.97,
        trend="none-seen",
        document="d-1.json",
        report="reports/A 1",
    ),
    SweptBatch(
        file="/in/b.xlsx",
        batch="=B-2",
        verdict="does-not-comply",
        sign="x",
        said="Does not comply",
        tests={"check softening": ("does-not-comply", None), "content-uniformity": ("complies", 0.5)},
        cause="uneven-fill or leaking-mould",
        cause_probability=0.6,
        trend="clear",
        pour=(1.0, 2.0),
        document="d-2.json",
    ),
    SweptBatch(file="/in/c.xlsx").with_problem("it is empty", "Fill it in").with_problem("it is old", "Save it anew"),
)


def test_the_table_has_a_column_for_each_test_and_one_for_its_figure() -> None:
    columns = columns_of(ROWS)
    assert list(columns) == [
        *("file", "sheet", "batch", "product", "verdict", "basis"),
        *("mass-uniformity", "mass-uniformity figure", "content-uniformity", "content-uniformity figure"),
        *("check softening", "check softening figure"),
        *("cause", "cause_probability", "trend", "problem", "document", "report"),
    ]
    assert columns["mass-uniformity"] == ["complies", None, None]
    assert columns["content-uniformity figure"] == [None, 0.5, None]
    assert columns["check softening"] == [None, "does-not-comply", None]
    assert columns["problem"][:2] == ["", ""]
    assert columns["problem"][2] == "c.xlsx: it is empty. Fill it in. c.xlsx: it is old. Save it anew."


def cells(page: bytes) -> list[list[str]]:
    text = page.decode()
    rows = re.findall(r"<tr[^>]*>(.*?)</tr>", text, re.DOTALL)
    inside = [re.findall(r"<t[dh][^>]*>(.*?)</t[dh]>", row, re.DOTALL) for row in rows]
    plain = [[" ".join(re.sub(r"<[^>]*>", " ", cell).replace("\xa0", " ").split()) for cell in row] for row in inside]
    return [row for row in plain if row]


def test_the_page_says_of_each_row_what_was_found_and_what_is_to_do() -> None:
    page = page_of(ROWS, title="Three", caption="All", documents=True)
    heads, *rows = cells(page)
    told = [dict(zip(heads, row, strict=True)) for row in rows]
    assert [row["File"] for row in told] == ["a.xlsx", "b.xlsx", "c.xlsx"]
    assert [row["Verdict"] for row in told] == ["+ Complies", "x Does not comply", "Not judged"]
    assert told[0]["Likeliest cause"] == "ordinary variation without a fault, 97 %"
    assert told[1]["Likeliest cause"].endswith(", together 60 %")
    assert " or " in told[1]["Likeliest cause"]
    assert told[2]["To do"] == "c.xlsx: it is empty. Fill it in. And 1 more problem."
    assert [row["Report"] for row in told] == ["report", "", ""]
    text = page.decode()
    assert 'href="reports/A%201/report.html"' in text
    assert 'href="results/d-1.json"' in text
    assert "/in" in text
    assert "results/d-1.json" not in page_of(ROWS, title="", caption="", documents=False).decode()
    assert ('http-equiv="refresh"' in text, "no room for" in text) == (False, False)
    assert re.search(
        r'http-equiv="refresh" content="5', page_of((), title="", caption="", documents=False, refresh_s=5).decode()
    )


def test_a_page_has_room_for_so_many_rows_and_says_how_many_more_there_are(monkeypatch: pytest.MonkeyPatch) -> None:
    assert MOST_ON_PAGE == 5000
    monkeypatch.setattr("qc.jobs.sweep.rows.MOST_ON_PAGE", 2)
    page = page_of(ROWS, title="", caption="", documents=False)
    assert "And 1 batch more, which a page has no room for." in page.decode()
    assert len(cells(page)) == 3
    assert "no room for" not in page_of(ROWS[:2], title="", caption="", documents=False).decode()


def test_the_page_marks_what_does_not_comply_and_holds_long_names_to_a_line() -> None:
    long = SweptBatch(file="/in/a", batch="B" * 90, product="P " * 50, verdict="complies", sign="+", said="Complies")
    undecided = SweptBatch(file="/in/b", verdict="undecided", trend="clear", sign="?", said="Undecided")
    drawn = replace(undecided, file="/in/c", pour=(1.0, 2.0, 3.0))
    page = page_of((long, undecided, drawn, ROWS[2]), title="", caption="", documents=False)
    heads, first, second, third, _ = cells(page)
    # A column that nothing stands in is left out.
    assert heads == ["File", "Batch", "Product", "Verdict", "Pour order", "To do"]
    assert first[1:3] == [f"{'B' * 71}…", f"{'P ' * 35}P…"]
    assert (second[4], third[4]) == ("clear change", "clear change")
    assert re.findall(r'<tr( class="strong")?><th', page.decode())[1:] == ["", *[' class="strong"'] * 3]
    assert page.decode().count("<polyline") == 1


def test_a_page_is_headed_by_the_folder_that_all_inputs_lie_below() -> None:
    def head(*files: str) -> tuple[str, list[str]]:
        page = page_of([SweptBatch(file=file) for file in files], title="", caption="", documents=False)
        (found,) = re.findall(r"<h2[^>]*>1\. <bdi>(.*?)</bdi></h2>", page.decode())
        return found, [row[0] for row in cells(page)[1:]]

    assert page_of((), title="none", caption="", documents=False)
    # Nothing in common, as of names from here beside whole ones.
    assert head("a.csv", "x/b.csv") == ("Batches", ["a.csv", "x/b.csv"])
    assert head("in/a.csv", "/in/b.csv") == ("Batches", ["in/a.csv", "/in/b.csv"])
    assert head("a.csv") == ("Batches", ["a.csv"])
    # What is no text in any writing is a sign in its place.
    assert head("\udcff.csv") == ("Batches", ["\N{REPLACEMENT CHARACTER}.csv"])
    assert b">?.d<" in page_of((), title="\udcff.d", caption="", documents=False)
    assert csv_of({"file": ["\udcff.csv"]}) == b"file\r\n?.csv\r\n"
    assert head("/in/x/a.csv", "/in/y/b.csv") == ("Batches in /in", ["x/a.csv", "y/b.csv"])
    assert head("/in/x/a.csv", "/in/x/b.csv") == ("Batches in /in/x", ["a.csv", "b.csv"])


def test_what_is_to_do_is_the_file_that_is_gone_the_reason_or_the_first_problem() -> None:
    wrong = ROWS[2]
    assert to_do_of(replace(wrong, gone=True, reason_at="Batch!B9")) == "The file was taken away; its report stays."
    assert to_do_of(replace(wrong, reason_at="Batch!B9")) == "Corrected. Type the reason into Batch!B9 and save."
    assert to_do_of(replace(wrong, problems=wrong.problems[:1])) == "c.xlsx: it is empty. Fill it in."
    assert to_do_of(replace(wrong, problems=wrong.problems * 2)).endswith(" And 3 more problems.")
    assert (to_do_of(ROWS[0]), cause_of(wrong)) == ("", "")


def test_rows_are_counted_by_their_verdict_and_the_gravest_is_what_was_not_judged() -> None:
    assert counts_of(ROWS) == "3 batches: 1 complying, 1 not complying, 0 undecided and 1 that could not be judged"
    verdicts = ["complies", "undecided", "does-not-comply", ""]
    for place, verdict in enumerate(verdicts):
        assert gravest(SweptBatch(file="", verdict=one) for one in verdicts[: place + 1]) == verdict


def test_a_row_goes_through_the_journal_whole_and_a_torn_line_is_none(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "j")
    one, other = Judged(key="1", rows=ROWS), Judged(key="2", rows=ROWS[:1])
    for judged_one in (one, other, one):
        journal.add(judged_one)
    # What was judged last stands last.
    assert [*journal.known] == ["2", "1"]
    with (tmp_path / "j").open("ab") as file:
        file.write(as_line(Judged(key="3", rows=ROWS))[:-30])
    journal = Journal(tmp_path / "j")
    assert [*journal.known.values()] == [other, one]
    journal.add(Judged(key="4", rows=()))
    again = Journal(tmp_path / "j")
    assert [*again.known] == ["2", "1", "4"]
    assert again.as_bytes(["4", "2"]) == as_line(Judged(key="4", rows=())) + as_line(other)
    assert again.as_bytes().count(b"\n") == 3


def test_a_line_of_the_journal_is_on_the_disk_when_its_input_is_said_to_be_judged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[bytes] = []
    monkeypatch.setattr("os.fsync", lambda file: synced.append(Path(f"/proc/self/fd/{file}").read_bytes()))
    Journal(tmp_path / "j").add(Judged(key="1", rows=()))
    assert synced == [b"\n" + as_line(Judged(key="1", rows=()))]


def test_half_a_character_goes_through_a_line() -> None:
    row = SweptBatch(file="\udcff.csv", problems=(Problem(file="", sheet="", cell="", found="\udcfe", mend=""),))
    assert msgspec.convert(json.loads(as_line(row)), SweptBatch) == row


class TestWhatWasJudgedBefore:
    @pytest.fixture
    def stands(self, tmp_path: Path) -> Judged:
        """A row with its document, its report and its house rules."""
        (tmp_path / "results").mkdir()
        (tmp_path / "results" / "d.json").write_bytes(b"{}")
        (tmp_path / "reports").mkdir()
        (tmp_path / "reports" / "report.html").touch()
        (tmp_path / "house.toml").write_bytes(b"rules")
        house = str(tmp_path / "house.toml"), hashlib.sha256(b"rules").hexdigest()
        row = SweptBatch(
            file="a", verdict="complies", document="d.json", sha256=hashlib.sha256(b"{}").hexdigest(), report="reports",
            house=house,
        )  # fmt: skip
        return Judged(key="", rows=(row, row))

    def test_stands_while_nothing_of_it_was_changed(self, stands: Judged, tmp_path: Path) -> None:
        assert as_it_was(stands, tmp_path)
        assert as_it_was(replace(stands, rows=()), tmp_path)

    @pytest.mark.parametrize("changed", ["results/d.json", "reports/report.html", "house.toml"])
    def test_is_judged_anew_where_a_file_of_it_is_gone(self, changed: str, stands: Judged, tmp_path: Path) -> None:
        (tmp_path / changed).unlink()
        assert not as_it_was(stands, tmp_path)

    @pytest.mark.parametrize("changed", ["results/d.json", "house.toml"])
    def test_is_judged_anew_where_a_file_of_it_was_changed(self, changed: str, stands: Judged, tmp_path: Path) -> None:
        (tmp_path / changed).write_bytes(b"other")
        assert not as_it_was(stands, tmp_path)

    def test_is_judged_anew_where_it_had_a_problem(self, stands: Judged, tmp_path: Path) -> None:
        assert not as_it_was(replace(stands, rows=(stands.rows[0], stands.rows[1].with_problem("a", "b"))), tmp_path)


class TestInputs:
    def test_those_of_one_content_are_counted_together_and_those_that_cannot_be_read_are_not(
        self, tmp_path: Path
    ) -> None:
        paths = [tmp_path / name for name in ("a.csv", "b.csv", "c.csv", "gone.csv", "gone-too.csv")]
        for path, text in zip(paths[:3], ("1", "2", "1"), strict=True):
            path.write_text(text)
        tasks = _tasks(paths, CALL, out=tmp_path / "out", reports=True, history="h.db")
        assert [(task.copy, task.copies) for task in tasks] == [(0, 2), (0, 1), (1, 2), (0, 1), (0, 1)]
        assert [bool(task.digest) for task in tasks] == [True, True, True, False, False]
        assert {(task.out, task.reports, task.history) for task in tasks} == {(str(tmp_path / "out"), True, "h.db")}

    def test_an_input_is_known_by_itself_its_call_its_rules_and_the_version(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        house = tmp_path / "house.toml"
        rule = 'id = "ward-mass"\nbuilds_on = "ph-eur-2.9.5"\nsource = "Manual"\nlimit_percent = 4\n'
        house.write_text(f'[set]\nbuilds_on = "ph-eur"\n[[rule]]\n{rule}')
        task = Task(path="a", digest="d", call=call_of(ReadOptions(), rules=str(house)))
        keys = {key_of(task), key_of(replace(task, out="elsewhere"))}
        assert len(keys) == 1
        for other in (replace(task, path="b"), replace(task, digest="e"), replace(task, reports=True)):
            keys.add(key_of(other))
        keys.add(key_of(replace(task, call=CALL)))
        house.write_text(house.read_text() + "\n# seen again\n")
        keys.add(key_of(task))
        monkeypatch.setattr(under_test, "__version__", "0.0.0")
        keys.add(key_of(task))
        assert len(keys) == 7

    def test_a_folder_of_tables_has_the_digest_of_what_lies_in_it_and_a_pipe_has_none(self, tmp_path: Path) -> None:
        (tmp_path / "units.csv").write_text("Unit,Mass (g)\n1,2.0\n")
        first = digest_of(tmp_path)
        (tmp_path / "units.csv").write_text("Unit,Mass (g)\n1,2.1\n")
        assert len(first) == 64
        assert first != digest_of(tmp_path)
        assert digest_of(tmp_path / "none") == ""

    @pytest.mark.parametrize("turned", [False, True])
    def test_a_file_of_two_names_is_found_by_the_first_of_them(self, turned: bool, tmp_path: Path) -> None:
        (tmp_path / "in").mkdir()
        for name in ("m.csv", "n.csv"):
            (tmp_path / "in" / name).touch()
        for name in ("a.csv", "z.csv"):
            (tmp_path / name).symlink_to(tmp_path / "in" / "m.csv")
        paths = [tmp_path / "z.csv", tmp_path / "in", tmp_path / "a.csv", tmp_path / "gone.csv"]
        found = find_inputs(reversed(paths) if turned else paths).inputs
        assert found == [tmp_path / "a.csv", tmp_path / "gone.csv", tmp_path / "in" / "n.csv"]

    def test_each_folder_is_looked_into_once_however_many_ways_lead_there(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        (tmp_path / "in" / "below").mkdir(parents=True)
        (tmp_path / "in" / "below" / "m.csv").touch()
        for link in ("in/again", "in/below/round"):
            (tmp_path / link).symlink_to(tmp_path / "in")
        looked, usual = [], Path.iterdir
        monkeypatch.setattr(Path, "iterdir", lambda folder: looked.append(folder.resolve()) or usual(folder))
        found = find_inputs([tmp_path / "in", tmp_path / "in" / "below", f"{tmp_path}/**"]).inputs
        assert [path.name for path in found] == ["m.csv"]
        assert sorted(looked) == [tmp_path, tmp_path / "in", tmp_path / "in" / "below"]

    def test_a_file_that_is_named_is_an_input_whatever_it_is_called(self, tmp_path: Path) -> None:
        for name in ("notes.pdf", "~$open.xlsx"):
            (tmp_path / name).touch()
        named = [tmp_path / "notes.pdf", tmp_path / "~$open.xlsx"]
        assert find_inputs(named).inputs == named
        assert find_inputs([tmp_path]).inputs == []

    def test_inputs_stand_in_the_order_of_their_names_whatever_was_named_first(self, tmp_path: Path) -> None:
        (tmp_path / "in").mkdir()
        for name in ("in/b.csv", "in/.hidden.csv", "a.csv"):
            (tmp_path / name).touch()
        found = find_inputs([tmp_path / "in", tmp_path / "in" / ".hidden.csv", tmp_path / "a.csv"]).inputs
        assert [path.name for path in found] == ["a.csv", ".hidden.csv", "b.csv"]

    def test_what_is_no_file_is_made_by_nobody_and_has_no_digest(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        os.mkfifo(tmp_path / "pipe.xlsx")
        (tmp_path / "folder.xlsx").mkdir()
        for name in ("pipe.xlsx", "folder.xlsx", "gone.xlsx"):
            assert not made_by_qc(tmp_path / name)
        assert digest_of(tmp_path / "pipe.xlsx") == ""
        assert input_of(tmp_path / "pipe.xlsx", within=tmp_path) is None
        # Nor what cannot be read, for whatever reason.
        (tmp_path / "a.csv").touch()
        for failure in (PermissionError(), UnusableFileError("too large", mend="")):

            def fails(_: Path, failure: Exception = failure) -> None:
                raise failure

            monkeypatch.setattr(under_test, "stored_input", fails)
            assert digest_of(tmp_path / "a.csv") == ""

    def test_a_folder_that_cannot_be_opened_is_an_input(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (tmp_path / "in" / "closed").mkdir(parents=True)
        usual = Path.iterdir

        def refused(folder: Path) -> Iterator[Path]:
            if folder.name == "closed":
                raise PermissionError
            return usual(folder)

        monkeypatch.setattr(Path, "iterdir", refused)
        assert find_inputs([tmp_path / "in"]).inputs == [tmp_path / "in" / "closed"]

    def test_a_pattern_gives_its_matches_and_one_without_any_stands_for_itself(self, tmp_path: Path) -> None:
        for name in ("a.csv", "b/c.csv", "b/d/e.csv", "[x].csv", "f.pdf", "b/d/g.pdf"):
            (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / name).touch()

        def found(pattern: str) -> list[str]:
            return [str(path.relative_to(tmp_path)) for path in find_inputs([f"{tmp_path}/{pattern}"]).inputs]

        assert found("**/*.csv") == ["[x].csv", "a.csv", "b/c.csv", "b/d/e.csv"]
        assert found("?.*") == ["a.csv", "f.pdf"]
        assert found("**.csv") == ["[x].csv", "a.csv"]
        assert found("**") == ["[x].csv", "a.csv", "b/c.csv", "b/d/e.csv"]
        (tmp_path / ".hidden").mkdir()
        for hidden in (".h.csv", ".hidden/a.csv"):
            (tmp_path / hidden).touch()
        assert found("**/*.csv") == ["[x].csv", "a.csv", "b/c.csv", "b/d/e.csv"]
        assert found(".hidden/*") == [".hidden/a.csv"]
        # A name that is there is itself, whatever is in it and matches it.
        (tmp_path / "x.csv").touch()
        assert found("[x].csv") == ["[x].csv"]
        assert found("*.ods") == ["*.ods"]

    def test_a_file_below_a_folder_is_the_input_that_a_search_finds(self, tmp_path: Path) -> None:
        names = ("a.csv", "b/units.csv", "b/checks.csv", "b/other.csv", ".c/d.csv", "e.pdf", "~$f.xlsx", "g/h.XLSX")
        for name in names:
            (tmp_path / name).parent.mkdir(exist_ok=True)
            (tmp_path / name).write_text("x")
        found = {input_of(tmp_path / name, within=tmp_path) for name in names} - {None}
        assert sorted(map(str, found)) == [str(one) for one in find_inputs([tmp_path]).inputs]  # type: ignore[arg-type]
        assert {Path(str(one)).name for one in found} == {"a.csv", "b", "other.csv", "h.XLSX"}


def test_each_batch_of_an_input_is_a_row_with_a_document_of_its_own_number(tmp_path: Path) -> None:
    lines = [f"{batch},{unit},2.0{unit:02d}" for batch in ("A", "B") for unit in range(1, 21)]
    path = tmp_path / "two.csv"
    path.write_text("\n".join(["Batch,Unit,Mass (g)", *lines]) + "\n")
    task = Task(path=str(path), digest=digest_of(path), call=CALL, copy=1, copies=3, out=str(tmp_path))
    (one, first), (other, second) = judge_input(task)
    assert (one.batch, other.batch, one.verdict, other.verdict) == ("A", "B", "complies", "complies")
    assert (one.document, other.document) == (f"{task.digest}-2.json", f"{task.digest}-5.json")
    assert [hashlib.sha256(text.encode()).hexdigest() for text in (first, second)] == [one.sha256, other.sha256]
    assert json.loads(second)["batch"]["number"] == "B"
    assert (one.house, one.report, one.problems, one.cause_probability is None) == ((), "", (), one.cause == "")


def test_a_row_says_what_the_result_says(tmp_path: Path) -> None:
    samples = Path(__file__).parents[2] / "sample_data"
    house = tmp_path / "house.toml"
    rule = 'id = "ward-mass"\nbuilds_on = "ph-eur-2.9.5"\nsource = "Manual"\nlimit_percent = 4\n'
    house.write_text(f'[set]\nbuilds_on = "ph-eur"\n[[rule]]\n{rule}')
    checked = check_batch(samples / "pour-step.xlsx", options=ReadOptions(), rules=house)
    found, document = under_rows.row_of(checked, file="in/a.xlsx"), json.loads(as_text(checked.sealed()))
    batch, cause = document["batch"], max(document["causes"], key=lambda one: float(one["probability"]))
    assert (found.file, found.batch, found.product) == ("in/a.xlsx", batch["number"], batch["product"])
    assert (found.verdict, found.basis) == (document["verdict"], document["basis"])
    assert (found.sign, found.said) == (sign(checked.judged), headline(checked.judged))
    assert cause["cause"] in found.cause.split(" or ")
    assert found.cause_probability == pytest.approx(sum(
        one["probability"] for one in document["causes"] if one["cause"] in found.cause.split(" or ")
    ))  # fmt: skip
    assert (found.trend, found.problems, found.report, found.reason_at, found.gone) == ("clear", (), "", "", False)
    assert found.house == (str(house), hashlib.sha256(house.read_bytes()).hexdigest())
    assert found.decided_by
    assert len(found.pour) > 10
    assert found.tests.keys() == _tests(checked.judged).keys() != set()
    assert under_rows.row_of(check_batch(samples / "sound.xlsx", options=ReadOptions()), file="").house == ()


def test_shares_of_limits_are_none_where_a_bound_is_no_number() -> None:
    def share(figure: object, bound: object) -> float:
        limit = Limit(what="", figure=figure, bound=bound)  # type: ignore[arg-type]
        return under_rows._share(limit)

    assert share(Fraction(1, 2), 4) == 0.125
    assert [share(None, 4), share(1, 0), share(1, None), share(1, (0, 2))] == [0.0, 0.0, 0.0, 0.0]


@pytest.mark.parametrize("units", [1, MOST_POINTS, MOST_POINTS + 1, 2 * MOST_POINTS + 1])
def test_a_line_of_the_pour_has_so_many_points_at_most_each_the_mean_of_its_neighbours(units: int) -> None:
    masses = [2.0 + 0.001 * (place * 37 % 11) for place in range(units)]
    line = under_rows._pour(
        judged(unit_rows=tuple(reversed([row(place + 1, mass) for place, mass in enumerate(masses)])))
    )
    together = -(-units // MOST_POINTS)
    assert len(line) == -(-units // together) <= MOST_POINTS
    assert line[0] == pytest.approx(sum(masses[:together]) / together)
    assert line[-1] == pytest.approx(sum(masses[(len(line) - 1) * together :]) / (units - (len(line) - 1) * together))


def test_without_a_pour_order_there_is_no_line_and_a_unit_without_its_place_is_not_in_it() -> None:
    assert under_rows._pour(judged(unit_rows=(row(None, 2.0), row(None, 2.1)))) == ()
    assert under_rows._pour(judged(unit_rows=(row(2, 2.0), row(None, 2.2), row(1, 2.1)))) == (2.1, 2.0)


def test_the_line_is_that_of_the_contents_where_their_test_is_not_met() -> None:
    contents = [99.0, 97.5, 104.0]
    rows = [
        replace(row(place, 2.0), contents={"a": UnitContent(mg=percent, percent_of_label=percent)})
        for place, percent in enumerate(contents, start=1)
    ]
    failed = made("content-uniformity", Verdict.DOES_NOT_COMPLY, active="a")
    actives = (Active(name="a", label_claim_mg=Decimal(100)),)
    found = replace(judged(failed, unit_rows=tuple(rows)), batch=Batch(units=(), actives=actives))
    assert under_rows._pour(found) == tuple(contents)


def row(order: int | None, mass: float) -> UnitRow:
    return UnitRow(
        unit=f"u{order}-{mass}", pour_order=order, mould=None, cavity=None, deviation_percent=0.0,
        mass_g=Decimal(str(mass)), in_mass_sample=True,
    )  # fmt: skip


def test_a_process_that_has_ended_is_given_no_further_input() -> None:
    judges = Judges(Limits())
    ended, waiting = SimpleNamespace(poll=lambda: 1), SimpleNamespace(poll=lambda: None)
    for child in (ended, waiting):
        judges._idle.put(child)  # type: ignore[arg-type]
    assert judges._taken() is waiting


@pytest.mark.parametrize(
    ("code", "late", "said"),
    [
        (OUT_OF_MEMORY, False, "it takes more than 300 MB of memory to judge"),
        (-11, False, "the process that judged it ended (code -11)"),
        (-9, True, "it was not judged within 7.5 s"),
    ],
)
def test_a_process_that_did_not_judge_to_its_end_is_told_by_what_ended_it(code: int, late: bool, said: str) -> None:
    child: Any = SimpleNamespace(returncode=code)
    assert Judges(Limits(seconds=7.5, megabytes=300))._ended(child, late=late) == said


@pytest.mark.parametrize(
    ("there", "allowed"),
    [
        ((), {"", "resume", "replace"}),
        ((JOURNAL,), {"resume", "replace"}),
        ((JOURNAL, "batches.csv", "results"), {"resume", "replace"}),
        # Without its journal nothing says that a sweep wrote them.
        *(
            ((name,), {"replace"})
            for name in ("batches.csv", "refused.csv", "index.html", "batches.parquet", "results")
        ),
        (("notes.txt",), {"", "resume", "replace"}),
    ],
)
def test_a_folder_is_written_into_where_nothing_of_an_earlier_sweep_is_lost_unasked(
    there: tuple[str, ...], allowed: set[str], tmp_path: Path
) -> None:
    for name in there:
        (tmp_path / name).touch()
    for asked in ("", "resume", "replace"):
        how = {"resume": asked == "resume", "replace": asked == "replace"}
        if asked in allowed:
            _refuse_over(tmp_path, **how)
        else:
            with pytest.raises(RefusedCall, match="holds"):
                _refuse_over(tmp_path, **how)


class TestWhatQcMade:
    TITLE = f"<dc:title>{RESULTS_WORKBOOK}</dc:title>"

    @staticmethod
    def book(path: Path, properties: str) -> Path:
        with ZipFile(path, "w", ZIP_DEFLATED) as archive:
            archive.writestr("docProps/core.xml", properties)
        return path

    @pytest.mark.parametrize(
        ("name", "properties", "made"),
        [
            ("a.xlsx", TITLE, True),
            ("a.XLSM", f"<x>{TITLE}</x>", True),
            ("a.xlsx", TITLE.replace(RESULTS_WORKBOOK, "Results"), False),
            # What a spreadsheet program would save as such is read as what it is.
            ("a.csv", TITLE, False),
            ("to-assay.xlsx", TITLE, True),
        ],
    )
    def test_is_known_by_the_title_of_a_workbook(self, name: str, properties: str, made: bool, tmp_path: Path) -> None:
        assert made_by_qc(self.book(tmp_path / name, properties)) is made

    @pytest.mark.parametrize(
        ("beside", "made"), [(("result.json", SUMS), True), (("result.json",), False), ((SUMS,), False)]
    )
    def test_a_list_of_units_to_assay_is_one_beside_its_result_until_it_is_saved(
        self, beside: tuple[str, ...], made: bool, tmp_path: Path
    ) -> None:
        for name in beside:
            (tmp_path / name).touch()
        stamp = '<dcterms:modified xsi:type="dcterms:W3CDTF">{}Z</dcterms:modified>'
        listed = self.book(tmp_path / "to-assay.xlsx", stamp.format("2026-01-01T00:00:00"))
        assert made_by_qc(listed) is made
        assert not made_by_qc(self.book(listed, stamp.format("2026-01-02T00:00:00")))
        assert not made_by_qc(self.book(tmp_path / "other.xlsx", stamp.format("2026-01-01T00:00:00")))

    def test_tables_are_those_of_a_sweep_where_its_journal_lies(self, tmp_path: Path) -> None:
        tables = [tmp_path / name for name in ("batches.csv", "refused.csv", "units.csv")]
        assert not any(map(made_by_qc, tables))
        (tmp_path / JOURNAL).touch()
        assert [made_by_qc(table) for table in tables] == [True, True, False]

    def test_what_a_workbook_says_of_itself_is_read_to_a_bound(self, tmp_path: Path) -> None:
        assert is_results_workbook(self.book(tmp_path / "a.xlsx", self.TITLE.rjust(4096)))
        assert not is_results_workbook(self.book(tmp_path / "a.xlsx", self.TITLE.rjust(4097)))
        bomb = self.book(tmp_path / "a.xlsx", self.TITLE.ljust(8_000_000))
        tracemalloc.start()
        try:
            assert is_results_workbook(bomb)
            assert tracemalloc.get_traced_memory()[1] < 1_000_000
        finally:
            tracemalloc.stop()
        (tmp_path / "a.xlsx").write_bytes(b"PK no")
        assert not is_results_workbook(tmp_path / "a.xlsx")


class TestTheFolderOfASweep:
    @pytest.fixture
    def places(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
        """Where inputs lie and where a sweep writes; each is judged by its name, "bad" to none and "two" to two."""

        def judged(_: Judges, task: Task) -> list[tuple[SweptBatch, str]]:
            row = SweptBatch(file=task.path)
            if "bad" in task.path:
                return [(row.with_problem("it is bad", "Mend it"), "")]
            verdict = "does-not-comply" if "fails" in task.path else "complies"
            texts = [f"{task.digest} {place}" for place in range(2 if "two" in task.path else 1)]
            return [
                (
                    replace(
                        row, batch=f"B-{place}", verdict=verdict, document=f"{task.digest[:9]}-{place}.json",
                        sha256=hashlib.sha256(text.encode()).hexdigest(), sign="x", said=verdict,
                    ),
                    text,
                )
                for place, text in enumerate(texts)
            ]  # fmt: skip

        # A library of parquet that writes a table as JSON; the true one is an extra.
        table = SimpleNamespace(table=lambda columns: columns, array=lambda cells: cells)
        parquet = SimpleNamespace(write_table=lambda found, into: into.write(json.dumps(found).encode()))
        monkeypatch.setitem(sys.modules, "pyarrow", table)
        monkeypatch.setitem(sys.modules, "pyarrow.parquet", parquet)
        monkeypatch.setattr(Judges, "judged", judged)
        monkeypatch.chdir(tmp_path)
        for name in ("a two", "b bad", "c fails"):
            Path("in").mkdir(exist_ok=True)
            Path(f"in/{name}.csv").write_text(name)
        return Path("in"), Path("out")

    def test_holds_every_row_the_gravest_first_and_a_document_each(self, places: tuple[Path, Path]) -> None:
        told: list[tuple[int, int]] = []
        swept = sweep([places[0]], out=places[1], call=CALL, jobs=1, progress=lambda *done: told.append(done))
        assert told == [(1, 3), (2, 3), (3, 3)]
        assert (swept.inputs, swept.kept, swept.own, swept.parquet) == (3, 0, 0, True)
        assert [Path(row.file).name for row in swept.rows] == ["a two.csv", "a two.csv", "b bad.csv", "c fails.csv"]
        (out,) = places[1:]
        assert {path.name for path in out.iterdir()} == {
            *(JOURNAL, "batches.csv", "batches.parquet", "index.html", "refused.csv", "results"),
        }
        assert (out / "refused.csv").read_text() == "file,problems\nin/b bad.csv,b bad.csv: it is bad. Mend it.\n"
        assert json.loads((out / "batches.parquet").read_bytes()) == columns_of(swept.rows)
        assert (out / "batches.csv").read_bytes() == csv_of(columns_of(swept.rows))
        page = (out / "index.html").read_text()
        assert "4 batches in 3 files" in page
        assert "The gravest first. 4 batches: 2 complying, 1 not complying" in page
        assert [line[0] for line in cells(page.encode())[1:]] == [
            *("b bad.csv", "c fails.csv", "a two.csv", "a two.csv"),
        ]
        assert [f'href="results/{row.document}"' in page for row in swept.rows] == [True, True, False, True]
        for row in swept.rows:
            text = (out / "results" / row.document).read_bytes() if row.document else b""
            assert hashlib.sha256(text).hexdigest() == (row.sha256 or hashlib.sha256().hexdigest())
        # The journal ends with the rows of each input in the order of the tables.
        assert [one.rows[0].file for one in Journal(out / JOURNAL).known.values()] == [
            *(f"in/{name}.csv" for name in ("a two", "b bad", "c fails")),
        ]

    def test_is_gone_on_with_and_what_no_row_names_any_more_goes(self, places: tuple[Path, Path]) -> None:
        inputs, out = places
        before = sweep([inputs], out=out, call=CALL, jobs=1).rows
        (inputs / "c fails.csv").unlink()
        # Somebody took its document away too.
        (out / "results" / before[3].document).unlink()
        (inputs / "d.csv").write_text("d")
        told: list[tuple[int, int]] = []
        swept = sweep(
            [inputs], out=out, call=CALL, jobs=1, resume=True, progress=lambda *done: told.append(done)
        )  # fmt: skip
        # What was refused is looked at again.
        assert (swept.kept, told) == (1, [(2, 3), (3, 3)])
        assert swept.rows[:3] == before[:3]
        assert {one.name for one in (out / "results").iterdir()} == {row.document for row in swept.rows} - {""}
        # An input that is still there is not left out of a sweep that is gone on with.
        with pytest.raises(RefusedCall, match=r"^out holds a sweep of 2 inputs more, such as in/a two\.csv, and this"):
            sweep([inputs / "d.csv"], out=out, call=CALL, resume=True)
        assert len(sweep([inputs / "d.csv"], out=out, call=CALL, replace=True).rows) == 1

    def test_what_qc_wrote_over_since_is_no_input_that_is_missing(
        self, places: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        inputs, out = places
        sweep([inputs], out=out, call=CALL, jobs=1)
        for module in ("inputs", "run"):
            monkeypatch.setattr(f"qc.jobs.sweep.{module}.made_by_qc", lambda path: path.name == "c fails.csv")
        swept = sweep([inputs], out=out, call=CALL, jobs=1, resume=True)
        assert (swept.inputs, swept.own) == (2, 1)

    def test_names_that_are_not_there_are_told_two_at_most(self, places: tuple[Path, Path]) -> None:
        inputs, out = places
        missing = [inputs / f"gone {place}.csv" for place in range(3)]
        assert len(sweep(missing, out=out, call=CALL, jobs=1).rows) == 3
        with pytest.raises(RefusedCall, match=r"^There is no in/gone 0\.csv, in/gone 1\.csv and 1 more, and out holds"):
            sweep(missing, out=out, call=CALL, resume=True)

    def test_is_written_by_one_at_a_time(self, places: tuple[Path, Path]) -> None:
        inputs, out = places
        with (
            under_test.writing_alone(out, "another sweep"),
            pytest.raises(RefusedCall, match=r"^Another sweep is writing into out\. Wait for its end"),
        ):
            sweep([inputs], out=out, call=CALL)

    def test_has_no_parquet_without_the_library_and_none_of_an_earlier_sweep(
        self, places: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        inputs, out = places
        sweep([inputs], out=out, call=CALL, jobs=1)
        monkeypatch.setitem(sys.modules, "pyarrow", None)
        assert not sweep([inputs], out=out, call=CALL, jobs=1, replace=True).parquet
        assert not (out / "batches.parquet").exists()

    def test_rows_come_one_by_one_without_a_document(self, places: tuple[Path, Path]) -> None:
        inputs, out = places
        rows = list(judged_rows([inputs], call=CALL, jobs=3))
        assert [(row.batch, row.document, row.sha256) for row in rows] == [
            *(("B-0", "", ""), ("B-1", "", ""), ("", "", ""), ("B-0", "", "")),
        ]
        assert not out.exists()

    def test_a_folder_with_nothing_but_tables_of_a_sweep_says_so(self, places: tuple[Path, Path]) -> None:
        inputs, out = places
        sweep([inputs], out=out, call=CALL, jobs=1)
        (out / "index.html").unlink()
        for document in (out / "results").iterdir():
            document.unlink()
        told = r"^There is no workbook and no table in out, apart from 2 files that qc made\. Give a folder that holds"
        with pytest.raises(RefusedCall, match=told):
            sweep([out], out=Path("other"), call=CALL)
        with pytest.raises(RefusedCall, match=told):
            next(judged_rows([out], call=CALL))


def test_the_rules_of_the_program_have_one_digest_in_whatever_order_they_are_found(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    usual, files = under_test._built_in_rules(), sorted(under_test.RULES_FOLDER.rglob("*.toml"))
    monkeypatch.setattr(under_test, "RULES_FOLDER", SimpleNamespace(rglob=lambda _: files[::-1]))
    assert under_test._built_in_rules.__wrapped__() == usual
    monkeypatch.setattr(under_test, "RULES_FOLDER", SimpleNamespace(rglob=lambda _: files[1:]))
    assert under_test._built_in_rules.__wrapped__() != usual
