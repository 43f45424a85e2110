"""Loading: the right files, every problem at once, each with its key and its mend."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from msgspec.structs import replace

from qc.problems import InputProblems
from qc.results import Limit, TestResult, Verdict
from qc.rules.built_in import RULES_FOLDER, SETS_FOLDER, read_rule, read_set
from qc.rules.kinds.mass.record import MassRule
from qc.rules.records import bearing
from qc.rules.rule_books import RuleBook, load_rule, load_set, rule_book, rule_ids, set_ids
from qc.rules.strict_records import RuleProblem

Spoil = Callable[[str], str]


def problems_of(path: Path) -> list[str]:
    with pytest.raises(RuleProblem) as caught:
        read_rule(path)
    return str(caught.value).splitlines()


def spoilt(folder: Path, id: str, *changes: tuple[str, str]) -> Path:
    """A copy of a built-in rule with words replaced, each of which must be there."""
    text = (RULES_FOLDER / f"{id}.toml").read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    path = folder / f"{id}.toml"
    path.write_text(text, encoding="utf-8")
    return path


class TestBooks:
    def test_no_name_gives_the_default_set_that_requires_the_dosage_unit_test_of_labelled_actives(self) -> None:
        book = rule_book()
        assert book.set.id == "default"
        assert list(book.rules) == [
            "ph-eur-2.9.5",
            "ph-eur-2.9.6-a",
            "ph-eur-2.9.6-b",
            "ph-eur-2.9.6-c",
            "harmonised-udu",
        ]
        assert [(ask.rule, ask.actives) for ask in book.set.asks if ask.required] == [("harmonised-udu", "labelled")]

    @pytest.mark.parametrize("id", set_ids())
    def test_a_book_holds_every_rule_its_set_asks_for_and_no_other(self, id: str) -> None:
        book = rule_book(id)
        assert set(book.rules) == {ask.rule for ask in book.set.asks}
        for rule_id, rule in book.rules.items():
            assert rule.id == rule_id
            assert rule is load_rule(rule_id)
        assert "no-such-rule" not in book.rules
        assert len(book.rules) == len(list(book.rules))

    @pytest.mark.parametrize("id", rule_ids())
    def test_the_id_of_a_rule_makes_a_set_of_that_rule_alone(self, id: str) -> None:
        book = rule_book(id)
        (ask,) = book.set.asks
        assert (book.set.id, ask.rule, ask.forms, ask.required, ask.actives) == (id, id, (), True, "all")
        assert dict(book.rules) == {id: load_rule(id)}

    def test_every_book_set_requires_what_it_asks_for(self) -> None:
        for id in set(set_ids()) - {"default"}:
            assert all(ask.required for ask in load_set(id).asks)

    def test_the_european_set_waives_the_mass_test_where_every_active_is_under_the_threshold(self) -> None:
        waived = [ask.rule for ask in load_set("ph-eur").asks if ask.unless_all_under]
        assert waived == ["ph-eur-2.9.5"]

    def test_the_mean_mass_has_no_limit_in_a_built_in_set(self) -> None:
        assert "mean-mass-3" not in {ask.rule for id in set_ids() for ask in load_set(id).asks}


class TestUnknownNames:
    @pytest.mark.parametrize(
        ("name", "mend"),
        [
            ("ph-eur-2.9.55", "Did you mean ph-eur-2.9.5?"),
            ("harmonized", "Did you mean harmonised?"),
            ("ph-eur-2.9.6", "Did you mean ph-eur-2.9.6-a, ph-eur-2.9.6-b or ph-eur-2.9.6-c?"),
        ],
    )
    def test_an_unknown_name_is_answered_with_the_nearest(self, name: str, mend: str) -> None:
        with pytest.raises(RuleProblem) as caught:
            rule_book(name)
        assert str(caught.value) == f'rules: no rule set, rule or .toml file has the name "{name}". {mend}'

    def test_a_name_like_no_other_is_answered_with_the_list(self) -> None:
        with pytest.raises(RuleProblem) as caught:
            load_set("zzz")
        assert str(caught.value) == (
            'rules: no rule set has the name "zzz". There are: br, chp, default, harmonised, int-ph, ph-eur.'
        )

    @pytest.mark.parametrize("name", ["../built_in", "sets/default", "forms", ""])
    def test_a_path_is_no_rule_id(self, name: str) -> None:
        with pytest.raises(RuleProblem):
            load_rule(name)

    def test_a_rule_problem_is_an_input_problem_and_lists_each(self) -> None:
        with pytest.raises(InputProblems) as caught:
            rule_book("zzz")
        (problem,) = caught.value.problems
        assert problem.found == 'no rule set, rule or .toml file has the name "zzz"'


class TestStrictReading:
    def test_every_built_in_file_reads_as_it_stands(self, tmp_path: Path) -> None:
        for id in rule_ids():
            assert read_rule(spoilt(tmp_path, id)) == load_rule(id)

    @pytest.mark.parametrize(
        ("changes", "messages"),
        [
            (
                (("sample_size", "sampel_size"),),
                [
                    'ph-eur-2.9.5.toml, sampel_size: the key "sampel_size" is not known. Did you mean sample_size?',
                    'ph-eur-2.9.5.toml, sample_size: the key "sample_size" is missing. Add sample_size.',
                ],
            ),
            (
                (("limit_percent = 10", "limit_percnt = 10"),),
                [
                    'ph-eur-2.9.5.toml, bands[1].limit_percnt: the key "limit_percnt" is not known. '
                    "Did you mean limit_percent?",
                    'ph-eur-2.9.5.toml, bands[1].limit_percent: the key "limit_percent" is missing. Add limit_percent.',
                ],
            ),
            (
                (("sample_size = 20", "sample_size = 20.5"),),
                [
                    "ph-eur-2.9.5.toml, sample_size: 20.5 stands where a whole number is asked for. "
                    "Write a whole number, zero or more, without quotes."
                ],
            ),
            (
                (("sample_size = 20", "sample_size = true"),),
                [
                    "ph-eur-2.9.5.toml, sample_size: true stands where a whole number is asked for. "
                    "Write a whole number, zero or more, without quotes."
                ],
            ),
            (
                (("limit_percent = 10", "limit_percent = nan"), ("outer_percent = 15", "outer_percent = inf")),
                [
                    "ph-eur-2.9.5.toml, bands[1].limit_percent: NaN stands where a number is asked for. "
                    "Write a number, zero or more, without quotes and with a decimal point.",
                    "ph-eur-2.9.5.toml, bands[2].outer_percent: Infinity stands where a number is asked for. "
                    "Write a number, zero or more, without quotes and with a decimal point.",
                ],
            ),
            (
                (("limit_percent = 10", "limit_percent = -10"),),
                [
                    "ph-eur-2.9.5.toml, bands[1].limit_percent: -10 stands where a number is asked for. "
                    "Write a number, zero or more, without quotes and with a decimal point."
                ],
            ),
            (
                (("limit_percent = 10", "limit_percent = '10'"),),
                [
                    'ph-eur-2.9.5.toml, bands[1].limit_percent: "10" stands where a number is asked for. '
                    "Write a number, zero or more, without quotes and with a decimal point."
                ],
            ),
            (
                (("mark = 'seen'", "mark = 'sene'"),),
                [
                    'ph-eur-2.9.5.toml, reference.mark: "sene" is not one of the accepted words. Did you mean seen?',
                ],
            ),
            (
                (("section = '2.9.5'", "section = ' '"),),
                ['ph-eur-2.9.5.toml, reference.section: " " stands where text is asked for. Write text, in quotes.'],
            ),
            (
                (("forms = ['suppositories', 'pessaries']", "forms = 'suppositories'"),),
                [
                    'ph-eur-2.9.5.toml, bands[7].forms: "suppositories" stands where a list is asked for. '
                    "Write a list in square brackets."
                ],
            ),
            (
                (("test = 'mass-uniformity'", "test = 'mass-uniformty'"),),
                ['ph-eur-2.9.5.toml, test: "mass-uniformty" is not a test. Did you mean mass-uniformity?'],
            ),
            (
                (("id = 'ph-eur-2.9.5'", "id = 'ph-eur-2.9.7'"),),
                [
                    'ph-eur-2.9.5.toml, id: "ph-eur-2.9.7" stands in the file of ph-eur-2.9.5. '
                    'Write id = "ph-eur-2.9.5".'
                ],
            ),
            (
                (("limit_percent = 10", "limit_percent = 20"),),
                [
                    "ph-eur-2.9.5.toml, bands[1].limit_percent: 20 of uncoated tablets, film-coated tablets, tablets "
                    "is not below outer_percent, 20. Give less than 20."
                ],
            ),
            (
                (("above_mg = 80", "from_mg = 80"),),
                [
                    "ph-eur-2.9.5.toml, bands: two rows for uncoated tablets overlap near 80 mg. "
                    "Let each row begin where the one before it ends.",
                    "ph-eur-2.9.5.toml, bands: two rows for film-coated tablets overlap near 80 mg. "
                    "Let each row begin where the one before it ends.",
                    "ph-eur-2.9.5.toml, bands: two rows for tablets overlap near 80 mg. "
                    "Let each row begin where the one before it ends.",
                ],
            ),
            (
                (("below_mg = 250", "below_mg = 249"), ("'uncoated tablets', 'film-coated", "'film-coated")),
                [
                    "ph-eur-2.9.5.toml, bands: two rows for film-coated tablets leave a gap near 249 mg. "
                    "Let each row begin where the one before it ends.",
                    "ph-eur-2.9.5.toml, bands: two rows for tablets leave a gap near 249 mg. "
                    "Let each row begin where the one before it ends.",
                    "ph-eur-2.9.5.toml, bands: no row holds for the lightest uncoated tablets. "
                    "Begin the first row without a lower end.",
                    "ph-eur-2.9.5.toml, bands: two rows for uncoated tablets leave a gap near 249 mg. "
                    "Let each row begin where the one before it ends.",
                ],
            ),
            (
                (("below_mg = 250", "up_to_mg = 80"), ("from_mg = 250\n", "above_mg = 80\n")),
                [
                    f"ph-eur-2.9.5.toml, bands: two rows for {form} leave a gap near 80 mg. "
                    "Let each row begin where the one before it ends."
                    for form in ("uncoated tablets", "film-coated tablets", "tablets")
                ],
            ),
            (
                (("from_mg = 250\n", "from_mg = 250\nup_to_mg = 900\n"),),
                [
                    "ph-eur-2.9.5.toml, bands: no row holds for the heaviest uncoated tablets. "
                    "End the last row without an upper end.",
                    "ph-eur-2.9.5.toml, bands: no row holds for the heaviest film-coated tablets. "
                    "End the last row without an upper end.",
                    "ph-eur-2.9.5.toml, bands: no row holds for the heaviest tablets. "
                    "End the last row without an upper end.",
                ],
            ),
            (
                (("most_beyond_outer = 0", "most_beyond_outer = 3"), ("sample_size = 20", "sample_size = 1")),
                [
                    "ph-eur-2.9.5.toml, sample_size: a sample of 1 has no spread. Give two or more.",
                    "ph-eur-2.9.5.toml, most_beyond_outer: 3 lies above most_beyond_limit, 2. Give 2 or less.",
                ],
            ),
        ],
    )
    def test_a_slip_in_a_mass_rule_is_named(
        self, tmp_path: Path, changes: tuple[tuple[str, str], ...], messages: list[str]
    ) -> None:
        found = problems_of(spoilt(tmp_path, "ph-eur-2.9.5", *changes))
        assert sorted(found) == sorted(messages)

    @pytest.mark.parametrize(
        ("id", "change", "message"),
        [
            (
                "ph-eur-2.9.6-b",
                ("passes_with = 1", "passes_with = 4"),
                "passes_with: 4 lies above continues_with, 3. Give 3 or less.",
            ),
            (
                "ph-eur-2.9.6-b",
                ("inner_percent = 15", "inner_percent = 26"),
                "inner_percent: 26 lies above outer_percent, 25. Give 25 or less.",
            ),
            (
                "ph-eur-2.9.6-b",
                ("second_size = 20", "second_size = 0"),
                "continues_with: there is no second stage to go on to. Give the number of passes_with.",
            ),
            (
                "ph-eur-2.9.6-c",
                ("mean_low_percent = 90", "mean_low_percent = 110"),
                "mean_low_percent: 110 is not below mean_high_percent, 110. Give less than 110.",
            ),
            (
                "harmonised-udu",
                ("l1_percent = 15.0", "l1_percent = 25.0"),
                "l1_percent: 25.0 is not below l2_percent, 25.0. Give less than 25.0.",
            ),
            (
                "harmonised-udu",
                ("reference_low_percent = 98.5", "reference_low_percent = 101.5"),
                "reference_low_percent: 101.5 is not below reference_high_percent, 101.5. Give less than 101.5.",
            ),
            (
                "harmonised-udu",
                ("first_k = 2.4", "first_k = 1.9"),
                "second_k: 2.0 lies above first_k, 1.9. Give 1.9 or less.",
            ),
            (
                "harmonised-udu",
                ("forms = ['coated tablets']", "forms = ['hard capsules']"),
                "routes[3].forms: hard capsules stands in two rows. Name each form once.",
            ),
            (
                "mean-mass-3",
                ("limit_percent = 3", "limit_percent = 0"),
                "limit_percent: a limit of 0 lets nothing pass. Give a number above zero.",
            ),
        ],
    )
    def test_numbers_that_cannot_be_true_are_named(
        self, tmp_path: Path, id: str, change: tuple[str, str], message: str
    ) -> None:
        assert problems_of(spoilt(tmp_path, id, change)) == [f"{id}.toml, {message}"]

    def test_a_file_that_is_not_toml_is_refused_in_words(self, tmp_path: Path) -> None:
        path = tmp_path / "x.toml"
        path.write_text("id = \n", encoding="utf-8")
        assert problems_of(path) == [
            "x.toml: the file is not TOML: Invalid value (at line 1, column 6). "
            "Mend that line; text stands in quotes, numbers do not."
        ]

    def test_a_file_that_is_not_utf_8_is_refused_in_words(self, tmp_path: Path) -> None:
        path = tmp_path / "x.toml"
        path.write_bytes(b"id = '\xe9'\n")
        assert problems_of(path) == ["x.toml: byte 6 is not UTF-8 text. Save the file as UTF-8."]

    def test_a_set_that_asks_for_an_unknown_rule_is_refused(self, tmp_path: Path) -> None:
        text = (SETS_FOLDER / "br.toml").read_text(encoding="utf-8")
        path = tmp_path / "br.toml"
        path.write_text(text.replace("br-5.1.1'\nforms", "br-5.1.2'\nactives = 'some'\nforms"), encoding="utf-8")
        with pytest.raises(RuleProblem) as caught:
            read_set(path)
        assert str(caught.value).splitlines() == [
            'br.toml, asks[1].rule: no rule has the name "br-5.1.2". Did you mean br-5.1.1?',
            'br.toml, asks[1].actives: "some" is not known. Write all, under or labelled.',
        ]


def test_numbers_are_read_as_the_decimals_that_were_typed() -> None:
    rule = load_rule("ph-eur-2.9.5")
    assert isinstance(rule, MassRule)
    assert {str(band.limit_percent) for band in rule.bands} == {"10", "7.5", "5"}


def test_only_the_files_that_are_asked_for_are_read(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[str] = []
    original = Path.open

    def watched(self: Path, mode: str) -> object:
        opened.append(self.name)
        return original(self, mode)

    load_rule.cache_clear()
    monkeypatch.setattr(Path, "open", watched)
    book: RuleBook = rule_book()
    assert opened == ["default.toml"]
    _ = book.rules["ph-eur-2.9.5"]
    assert opened == ["default.toml", "ph-eur-2.9.5.toml"]


def test_loading_the_rules_imports_nothing_heavy() -> None:
    heavy = ["numpy", "scipy", "pandas", "matplotlib", "openpyxl", "pydantic", "difflib"]
    code = (
        "import sys; from qc.rules.rule_books import rule_book; dict(rule_book().rules); "
        f"print([name for name in {heavy} if name in sys.modules])"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout == "[]\n"


def test_a_clause_that_reads_a_limit_bears_where_the_limit_was_missed() -> None:
    rule = load_rule("ph-eur-2.9.5")
    test = TestResult(id="mass-uniformity", rule=rule.id, verdict=Verdict.COMPLIES)
    for met, more in ((True, set()), (False, {"6"})):
        limit = Limit(what="beyond_limit", figure=2, bound=2, met=met, clause="2")
        borne = bearing(rule, form="suppositories", tests=[replace(test, criteria=(limit,))])
        assert {clause.number for clause in borne} == {"2"} | more
