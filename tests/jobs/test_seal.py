"""The seal of a result, the list of digests beside a report, and the digests of rules."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc import __version__
from qc.document import as_text
from qc.jobs.check import Checked, check_batch
from qc.jobs.seal import SealedCall, call_of, result_sha256
from qc.jobs.verify.files import read_sums
from qc.readers.options import ReadOptions
from qc.rules import built_in
from qc.rules.rule_books import rule_digests, set_digest
from qc.rules.strict_records import RuleProblem
from qc.show.filing import sums_text
from qc.show.sections.of_document import seal_pieces

HOUSE = """
[[rule]]
id = "st-example"
builds_on = "ph-eur-2.9.5"
source = "Standard procedure 12, 2026"
forms = ["suppositories"]
limit_percent = 4
"""
EMPTY_SHA256 = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
"""SHA-256 of no bytes: NIST, SHA examples (FIPS 180-4); from memory, and what sha256sum prints for an empty file."""


def sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


@pytest.fixture
def batch(tmp_path: Path) -> Path:
    path = tmp_path / "batch.csv"
    path.write_text("\n".join(["Unit,Mass (g)", *(f"{number},2.00{number % 7}" for number in range(1, 21))]) + "\n")
    return path


@pytest.fixture
def house(tmp_path: Path) -> Path:
    path = tmp_path / "house.toml"
    path.write_text(HOUSE)
    return path


def test_a_call_that_says_nothing_is_sealed_as_nothing_said() -> None:
    nothing = dict.fromkeys(("form", "label_mg", "displacement", "decimal", "separator", "rules"))
    assert call_of(ReadOptions(), rules=None) == SealedCall(**nothing)
    facts = SealedCall(**nothing)
    assert (facts.blind, facts.confirmed, facts.superseded, facts.ignore) == (False, {}, None, ())


AT = datetime(2026, 11, 26, 14, 3, tzinfo=timezone(timedelta(hours=1)))


def checked(path: Path, rules: str | Path | None = None, at: datetime = AT) -> Checked:
    return check_batch(path, options=ReadOptions(form="suppositories"), rules=rules, at=at)


def seal_of(one: Checked) -> dict[str, object]:
    seal = one.sealed()["seal"]
    assert isinstance(seal, dict)
    return seal


class TestSeal:
    def test_it_says_what_was_read_what_came_out_and_by_which_records(self, batch: Path) -> None:
        one = checked(batch)
        seal = seal_of(one)
        folder = built_in.RULES_FOLDER
        assert seal["input"] == {"name": "batch.csv", "sha256": sha256(batch.read_bytes())}
        assert seal["qc_version"] == __version__
        assert seal["entered_by"] == {"made_by": None, "weighed_by": None, "checked_by": None}
        assert seal["rule_set"] == {
            "id": "default",
            "file": "default.toml",
            "sha256": sha256((built_in.SETS_FOLDER / "default.toml").read_bytes()),
        }
        rules = seal["rules"]
        assert isinstance(rules, dict)
        assert set(rules) == {rule.id for rule in one.judged.rules_used}
        for id, rule in rules.items():
            assert rule["sha256"] == sha256((folder / f"{id}.toml").read_bytes())
            assert rule["file"] == f"{id}.toml"
        assert {rule.id: rule.edition for rule in one.judged.rules_used} == {
            id: rule["edition"] for id, rule in rules.items()
        }

    def test_the_digest_of_the_result_is_that_of_the_bytes_of_the_document(self, batch: Path) -> None:
        one = checked(batch)
        assert seal_of(one)["result_sha256"] == sha256(as_text(one.document).encode())

    def test_the_same_input_gives_the_same_seal(self, batch: Path) -> None:
        assert checked(batch).sealed() == checked(batch).sealed()

    def test_when_it_was_judged_stands_in_the_seal_alone_and_moves_nothing_else(self, batch: Path) -> None:
        first, later = checked(batch), checked(batch, at=AT + timedelta(days=1))
        assert first.document == later.document
        assert seal_of(first)["judged_at"] == "2026-11-26T14:03:00+01:00"
        assert seal_of(later) == {**seal_of(first), "judged_at": "2026-11-27T14:03:00+01:00"}

    def test_the_names_that_were_entered_are_kept(self, tmp_path: Path) -> None:
        folder = tmp_path / "batch"
        folder.mkdir()
        (folder / "units.csv").write_text("Unit,Mass (g)\n1,2.0\n2,2.1\n")
        (folder / "batch.csv").write_text("Field,Value\nMade by,first\nWeighed by,second\nChecked by,third\n")
        assert seal_of(checked(folder))["entered_by"] == {
            "made_by": "first",
            "weighed_by": "second",
            "checked_by": "third",
        }

    def test_how_it_was_asked_for_is_kept_without_the_place_of_a_file(self, batch: Path, house: Path) -> None:
        seal = seal_of(checked(batch, house))
        assert seal["asked"] == {
            "form": "suppositories",
            "label_mg": None,
            "displacement": None,
            "decimal": None,
            "separator": None,
            "rules": "house.toml",
        }
        assert str(house.parent) not in json.dumps(seal)

    def test_a_rule_of_the_house_is_sealed_with_its_file_and_the_rule_it_builds_on(
        self, batch: Path, house: Path
    ) -> None:
        rules = seal_of(checked(batch, house))["rules"]
        assert isinstance(rules, dict)
        assert rules["st-example"] == {
            "edition": rules["ph-eur-2.9.5"]["edition"],
            "file": "house.toml",
            "sha256": sha256(house.read_bytes()),
            "builds_on": "ph-eur-2.9.5",
        }

    @given(
        st.dictionaries(
            st.text(max_size=4), st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=5), max_size=4
        )
    )
    def test_a_digest_survives_writing_and_reading(self, document: dict[str, object]) -> None:
        document.pop("seal", None)
        again = json.loads(as_text({**document, "seal": {"result_sha256": "x"}}))
        assert result_sha256(again) == result_sha256(document)


class TestPrinted:
    def test_every_digest_is_printed(self, batch: Path) -> None:
        document = checked(batch).sealed()
        shown = json.dumps([repr(piece) for piece in seal_pieces(document, file_sha256=EMPTY_SHA256)])
        seal = document["seal"]
        assert isinstance(seal, dict)
        wanted = [
            EMPTY_SHA256,
            seal["result_sha256"],
            seal["input"]["sha256"],
            seal["rule_set"]["sha256"],
            *(rule["sha256"] for rule in seal["rules"].values()),
        ]
        assert [digest for digest in wanted if digest not in shown] == []

    def test_a_document_without_a_seal_prints_none(self) -> None:
        assert seal_pieces({"verdict": "complies"}, file_sha256=EMPTY_SHA256) == ()


class TestSums:
    def test_the_digest_of_nothing_is_the_published_one(self) -> None:
        assert sums_text({"a": b""}) == f"{EMPTY_SHA256}  a\n"

    @pytest.mark.skipif(shutil.which("sha256sum") is None, reason="the program sha256sum is not installed")
    def test_the_program_sha256sum_reads_the_list_and_notices_a_change(self, tmp_path: Path) -> None:
        files = {"report.html": b"<p>", "result.json": b"{}\n"}
        for name, content in {**files, "SHA256SUMS": sums_text(files).encode()}.items():
            (tmp_path / name).write_bytes(content)
        call = ["sha256sum", "--strict", "-c", "SHA256SUMS"]
        sound = subprocess.run(call, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert (sound.returncode, sound.stdout) == (0, "report.html: OK\nresult.json: OK\n")
        (tmp_path / "result.json").write_bytes(b"{ }\n")
        changed = subprocess.run(call, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert changed.returncode == 1

    def test_what_is_written_is_read(self) -> None:
        files = {"b": b"2", "a": b"1"}
        assert read_sums(sums_text(files)) == {"a": sha256(b"1"), "b": sha256(b"2")}

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            (f"{EMPTY_SHA256} a\n", "line 1 is not a digest, two spaces and a file name"),
            (f"{EMPTY_SHA256[1:]}  a\n", "line 1 is not a digest, two spaces and a file name"),
            (f"{EMPTY_SHA256}  a\n{EMPTY_SHA256.upper()}  b\n", "line 2 is not a digest, two spaces and a file name"),
            (f"{EMPTY_SHA256}  ../a\n", "line 1 is not a digest, two spaces and a file name"),
            (f"{EMPTY_SHA256}  a\n{EMPTY_SHA256}  a\n", "line 2 names a again"),
        ],
    )
    def test_a_line_of_another_form_is_refused(self, text: str, message: str) -> None:
        with pytest.raises(ValueError) as refused:
            read_sums(text)
        assert str(refused.value) == message


class TestRuleDigests:
    def test_a_house_rule_is_followed_by_the_rule_it_builds_on(self, house: Path) -> None:
        digests = rule_digests(["st-example"], rules=house)
        assert [*digests] == ["st-example", "ph-eur-2.9.5"]
        assert digests["st-example"].builds_on == "ph-eur-2.9.5"

    def test_the_file_of_a_set_of_one_rule_and_of_a_house(self, house: Path) -> None:
        assert set_digest(None) == set_digest("default")
        assert set_digest("ph-eur").file == "ph-eur.toml"
        assert set_digest("ph-eur-2.9.5").file == "ph-eur-2.9.5.toml"
        assert set_digest(house).sha256 == sha256(house.read_bytes())

    def test_a_rule_that_is_nowhere_is_refused(self) -> None:
        with pytest.raises(RuleProblem) as refused:
            rule_digests(["no-such-rule"], rules="default")
        assert str(refused.value) == (
            'rules: no rule of "default" has the id "no-such-rule". Give the house file that it was judged by.'
        )

    def test_a_set_that_is_nowhere_is_refused(self) -> None:
        with pytest.raises(RuleProblem, match=r'no rule set, rule or \.toml file has the name "no-such-set"'):
            set_digest("no-such-set")
