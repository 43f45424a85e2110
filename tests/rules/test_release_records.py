"""The records behind the release checks: where each comes from, and whether its figures and words can be true."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from qc.batch import Base, Batch, Unit
from qc.causes.model import CAUSE_IDS
from qc.fields.sheets import CHECKS, DEFECTS
from qc.rules.built_in import RULES_FOLDER, load_rule, read_rule
from qc.rules.forms import all_forms, stem
from qc.rules.kinds import kinds_of_tests
from qc.rules.kinds.assay import AssayRule
from qc.rules.kinds.check import CheckRule
from qc.rules.kinds.check.procedure import limits_of
from qc.rules.kinds.packing import PackingRule
from qc.rules.kinds.packing.answers import items_named
from qc.rules.kinds.reconciliation import ReconciliationRule
from qc.rules.kinds.stated_check import StatedCheckRule
from qc.rules.kinds.visual import Grade, SamplingRule
from qc.rules.kinds.visual.defects import defect_evidence, defect_words
from qc.rules.records import Mark
from qc.rules.rule_books import rule_book
from qc.rules.strict_records import RuleProblem
from qc.say.spans import span as words_of

RULES = (
    "batch-balance",
    "compounded-assay",
    "iso-2859-1",
    "packing-checklist",
    "ph-eur-2.9.2",
    "ph-eur-2.9.22",
    "ph-eur-2.9.24",
    "release-check",
)


def check_rule(id: str) -> CheckRule:
    rule = load_rule(id)
    assert isinstance(rule, CheckRule)
    return rule


def house(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "house.toml"
    path.write_text(text)
    return path


def problems(path: Path) -> list[str]:
    with pytest.raises(RuleProblem) as caught:
        rule_book(path)
    return [str(problem) for problem in caught.value.problems]


class TestProvenance:
    @pytest.mark.parametrize("id", RULES)
    def test_a_record_names_its_source_and_marks_each_clause(self, id: str) -> None:
        rule = load_rule(id)
        assert type(rule) is kinds_of_tests()[rule.test].record
        reference = rule.reference
        assert all((rule.title, reference.work, reference.section, reference.edition, reference.read_in))
        assert [clause.number for clause in rule.clauses] == [str(n) for n in range(1, len(rule.clauses) + 1)]
        assert all(clause.text.endswith(".") and clause.mark is not Mark.HOUSE for clause in rule.clauses)

    def test_no_built_in_set_asks_for_them(self) -> None:
        for id in ("default", "ph-eur", "harmonised", "int-ph", "chp", "br"):
            assert not set(RULES) & {ask.rule for ask in rule_book(id).set.asks}

    def test_no_limit_is_given_where_no_source_gives_one(self) -> None:
        assert (check_rule("ph-eur-2.9.22").limits, check_rule("ph-eur-2.9.24").limits) == ((), ())
        balance, sampling = load_rule("batch-balance"), load_rule("iso-2859-1")
        assert isinstance(balance, ReconciliationRule)
        assert isinstance(sampling, SamplingRule)
        assert (balance.yield_low_percent, balance.unaccounted_percent, balance.recovery_low_percent) == (None,) * 3
        assert (sampling.aql_critical_percent, sampling.aql_major_percent, sampling.aql_minor_percent) == (None,) * 3


class TestDisintegration:
    """2.9.2: three units (read). 30 min fatty and capsules, else 60 min: Ph. Eur. 1145, 1164, from memory."""

    @pytest.mark.parametrize(
        ("form", "base", "limits"),
        [
            ("suppositories", Base.FATTY, ["at most 30 min"]),
            ("suppositories", Base.WATER_SOLUBLE, ["at most 60 min"]),
            ("suppositories", None, ["at most 30 min", "at most 60 min"]),
            ("pessaries", Base.FATTY, ["at most 60 min"]),
            ("pessaries", None, ["at most 60 min"]),
            ("rectal capsules", Base.FATTY, ["at most 30 min"]),
            ("vaginal capsules", None, ["at most 30 min"]),
            ("moulded lozenges", Base.FATTY, [None]),
            ("", None, [None]),
        ],
    )
    def test_the_limit_goes_by_form_and_base(self, form: str, base: Base | None, limits: list[str | None]) -> None:
        found = limits_of(check_rule("ph-eur-2.9.2"), form=form, base=base)
        assert [None if span is None else words_of(span) for span in found] == limits

    def test_a_row_says_which_base_it_holds_for(self) -> None:
        held = [row.holds for row in check_rule("ph-eur-2.9.2").limits if "suppositories" in row.forms]
        assert held == ["suppositories, fatty base", "suppositories, water-soluble base"]

    def test_the_forms_are_known_and_the_remembered_limits_are_marked(self) -> None:
        rule = check_rule("ph-eur-2.9.2")
        names = {form.name for form in all_forms()}
        assert rule.sample_size == 3
        for row in rule.limits:
            assert set(row.forms) <= names
            assert row.mark is Mark.FROM_MEMORY


def test_the_assay_of_a_compounded_preparation_lies_within_ten_per_cent() -> None:
    """90.0 to 110.0 % of label: USP <795>, from memory."""
    rule = load_rule("compounded-assay")
    assert isinstance(rule, AssayRule)
    assert (rule.low_percent, rule.high_percent) == (Decimal("90.0"), Decimal("110.0"))
    assert rule.reference.mark is Mark.FROM_MEMORY


def test_no_name_of_a_check_leads_to_two_rules() -> None:
    names = [stem(name) for id in ("ph-eur-2.9.2", "ph-eur-2.9.22", "ph-eur-2.9.24") for name in check_rule(id).names]
    assay, packing = load_rule("compounded-assay"), load_rule("packing-checklist")
    assert isinstance(assay, AssayRule)
    assert isinstance(packing, PackingRule)
    names += [stem(name) for name in assay.names]
    assert len(set(names)) == len(names)
    assert not any(items_named(name, packing.items) for name in names)


def test_the_checks_that_the_entry_workbook_offers_are_understood() -> None:
    packing, stated = load_rule("packing-checklist"), load_rule("release-check")
    assert isinstance(packing, PackingRule)
    assert isinstance(stated, StatedCheckRule)
    names = CHECKS.field("name").words
    known = [name for id in ("ph-eur-2.9.2", "ph-eur-2.9.22", "ph-eur-2.9.24") for name in check_rule(id).names]
    free = [name for name in names if name not in known and not items_named(name, packing.items)]
    assert free == ["appearance"]
    answered = {item.id for name in names for item in items_named(name, packing.items)}
    assert answered == {item.id for item in packing.items}


class TestDefects:
    def test_every_word_leads_to_one_defect(self) -> None:
        words = [word for one in defect_words().defects for word in {stem(one) for one in (one.name, *one.synonyms)}]
        assert len(set(words)) == len(words)
        assert not any(defect_words().find(word) for word in defect_words().sound_words)

    def test_the_words_of_the_entry_workbook_are_known(self) -> None:
        for word in DEFECTS:
            found = defect_words().find(word)
            assert found is not None
            assert found.name == word

    def test_every_defect_has_causes_a_remedy_a_source_and_a_grade_of_our_own(self) -> None:
        for one in defect_words().defects:
            assert one.causes
            assert one.remedy.endswith(".")
            assert one.source
            assert one.grade_mark is Mark.OUR_READING

    def test_what_a_defect_speaks_for_is_a_cause_of_the_catalogue(self) -> None:
        spoken_for = {cause for one in defect_words().defects for cause in one.speaks_for}
        assert spoken_for <= set(CAUSE_IDS)

    def test_an_unknown_word_is_answered_with_the_nearest(self) -> None:
        assert defect_words().nearest("craked") == ("cracked",)
        assert defect_words().nearest("qqqq") == ()

    def test_evidence_names_each_cause_with_its_units(self) -> None:
        units = (
            Unit(name="1", seen=("enriched tip", "chipped")),
            Unit(name="2", seen=("Sediment",)),
            Unit(name="3", seen=("mottled", "wobbly")),
            Unit(name="4"),
        )
        found = defect_evidence(Batch(units=units))
        tip = {"defects": ("enriched tip",), "units": 2, "of_units": 4}
        assert {cause: said.values for cause, said in found.items()} == {
            "settling-in-unit": tip,
            "settling-in-pour": tip,
            "poor-mixing": {"defects": ("mottled",), "units": 1, "of_units": 4},
        }

    def test_nothing_seen_is_no_evidence(self) -> None:
        assert defect_evidence(Batch(units=(Unit(name="1"), Unit(name="2", seen=("none",))))) == {}


class TestHouseFile:
    def test_a_house_grades_a_defect_and_adds_one(self, tmp_path: Path) -> None:
        text = """
        [[defect]]
        name = "chipping"
        grade = "major"
        source = "procedure 7"
        synonyms = ["nibbled"]

        [[defect]]
        name = "logo missing"
        grade = "minor"
        source = "procedure 7"
        """
        book = rule_book(house(tmp_path, text))
        words = defect_words(book.house_defects)
        chipped, logo = words.find("nibbled"), words.find("logo missing")
        assert chipped is not None
        assert logo is not None
        assert (chipped.name, chipped.grade, chipped.grade_mark) == ("chipped", Grade.MAJOR, Mark.HOUSE)
        assert chipped.causes == ("a brittle base", "forced removal from the mould")
        assert (logo.grade, logo.mark) == (Grade.MINOR, Mark.HOUSE)

    @pytest.mark.parametrize(
        ("defect", "grade", "known"),
        [("cracked", "minor", "major"), ("chipped", "minor", None), ("flash", "major", None)],
    )
    def test_a_house_grades_no_defect_less_gravely(
        self, tmp_path: Path, defect: str, grade: str, known: str | None
    ) -> None:
        text = f'[[defect]]\nname = "{defect}"\ngrade = "{grade}"\nsource = "procedure 7"\n'
        if known is None:
            assert rule_book(house(tmp_path, text)).house_defects
            return
        with pytest.raises(RuleProblem) as caught:
            rule_book(house(tmp_path, text))
        assert f'"{defect}" is {known} here, and this makes it {grade}' in str(caught.value)

    def test_a_house_adds_a_line_to_the_checklist(self, tmp_path: Path) -> None:
        text = '[[packing]]\nid = "leaflet"\ntext = "leaflet enclosed"\n'
        (line,) = rule_book(house(tmp_path, text)).house_packing
        assert (line.id, line.text, line.mark) == ("leaflet", "leaflet enclosed", Mark.HOUSE)

    def test_a_house_sets_what_no_text_sets(self, tmp_path: Path) -> None:
        text = """
        [[rule]]
        id = "house-seen"
        builds_on = "iso-2859-1"
        source = "procedure 7"
        aql_critical_percent = 0
        aql_minor_percent = 4.0

        [[rule]]
        id = "house-balance"
        builds_on = "batch-balance"
        source = "procedure 8"
        yield_low_percent = 90
        """
        book = rule_book(house(tmp_path, text))
        seen, balance = book.rules["house-seen"], book.rules["house-balance"]
        assert isinstance(seen, SamplingRule)
        assert isinstance(balance, ReconciliationRule)
        assert (seen.aql_critical_percent, seen.aql_major_percent, seen.aql_minor_percent) == (0, None, Decimal("4.0"))
        assert balance.yield_low_percent == 90
        assert seen.differs == ("aql_critical_percent: none -> 0", "aql_minor_percent: none -> 4.0")
        assert {ask.rule for ask in book.set.asks if ask.required} == {"harmonised-udu", "house-seen", "house-balance"}

    def test_a_house_asks_for_a_built_in_rule_as_it_stands(self, tmp_path: Path) -> None:
        book = rule_book(house(tmp_path, '[set]\nbuilds_on = "ph-eur"\nadds = ["compounded-assay", "ph-eur-2.9.2"]\n'))
        assert [ask.rule for ask in book.set.asks][-2:] == ["compounded-assay", "ph-eur-2.9.2"]
        assert all(ask.required for ask in book.set.asks[-2:])

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            (
                '[set]\nadds = ["compounded-asay"]\n',
                'set.adds[1]: no rule has the name "compounded-asay". Did you mean compounded-assay?',
            ),
            ('[set]\nadds = ["ph-eur-2.9.5"]\n', "set.adds[1]: ph-eur-2.9.5 is asked for already. Leave it out."),
            (
                '[set]\nadds = ["ph-eur-2.9.2", "ph-eur-2.9.2"]\n',
                "set.adds[2]: ph-eur-2.9.2 is asked for already. Leave it out.",
            ),
            (
                '[[defect]]\nname = "chipped"\ngrade = "grave"\nsource = "x"\n',
                'defect[1].grade: "grave" is not one of the accepted words. Write one of: critical, major, minor.',
            ),
            (
                '[[defect]]\nname = "chipped"\ngrade = "major"\nsource = "x"\n'
                '[[defect]]\nname = "chipping"\ngrade = "minor"\nsource = "x"\n',
                'defect[2].name: "chipping" is graded twice. Keep one of the tables.',
            ),
            (
                '[[defect]]\nname = "chipped"\ngrade = "major"\nsource = "x"\nsynonyms = ["crack"]\n',
                'defect[1].synonyms: "crack" is a word for "cracked" already. Leave it out.',
            ),
            (
                '[[packing]]\nid = "count"\ntext = "counted twice"\n',
                'packing[1].id: the id "count" is taken. Give the line an id of its own.',
            ),
            (
                '[[packing]]\nid = "lot"\ntext = "Label: lot"\n',
                'packing[1].text: "Label: lot" stands for "label: batch number" already. Word the line otherwise.',
            ),
            (
                '[[rule]]\nid = "h"\nbuilds_on = "iso-2859-1"\nsource = "x"\naql_minor_percent = 3\n',
                "rule[1].aql_minor_percent: the table has no AQL of 3 %. "
                "Write 0 or one of 0.65, 1.0, 1.5, 2.5, 4.0, 6.5.",
            ),
            (
                '[[rule]]\nid = "h"\nbuilds_on = "iso-2859-1"\nsource = "x"\ninspection_level = 1\n',
                "rule[1].inspection_level: 1 is looser than the 2 of iso-2859-1. Give 2 or more.",
            ),
            (
                '[[rule]]\nid = "h"\nbuilds_on = "compounded-assay"\nsource = "x"\nlow_percent = 89\n',
                "rule[1].low_percent: 89 is looser than the 90.0 of compounded-assay. Give 90.0 or more.",
            ),
            (
                '[[rule]]\nid = "h"\nbuilds_on = "ph-eur-2.9.2"\nsource = "x"\nlimit_percent = 3\n',
                'rule[1].limit_percent: a rule on disintegration has no "limit_percent" that a house can set. '
                "Leave it out; no figure of this rule can be set.",
            ),
            (
                '[[rule]]\nid = "h"\nbuilds_on = "batch-balance"\nsource = "x"\nyield_low_percent = 101\n'
                "yield_high_percent = 100\n",
                "rule[1].yield_low_percent: 101 lies above yield_high_percent, 100. Give 100 or less.",
            ),
        ],
    )
    def test_each_fault_is_named_with_its_mend(self, tmp_path: Path, text: str, message: str) -> None:
        assert f"house.toml, {message}" in problems(house(tmp_path, text))


@pytest.mark.parametrize(
    ("id", "old", "new", "message"),
    [
        (
            "ph-eur-2.9.2",
            "base = 'water-soluble'",
            "base = 'fatty'",
            "limits[2]: suppositories with a fatty base have two limits. Keep one of the rows.",
        ),
        (
            "iso-2859-1",
            "lot_from = 51\n",
            "lot_from = 52\n",
            "codes[5].lot_from: 52 does not follow 50. Write 51.",
        ),
        (
            "iso-2859-1",
            "accepts = [0, 0, 0, 0, 0, 0, 0, 1, 1, 2, 3]",
            "accepts = [0, 0, 0]",
            "columns[1]: there are 11 code letters. Give a sample size and an acceptance number for each.",
        ),
        (
            "packing-checklist",
            "id = 'container'",
            "id = 'count'",
            'items: the id "count" stands 2 times. Give each line its own id.',
        ),
        (
            "release-check",
            "fails_words = [",
            "fails_words = ['ok', ",
            'fails_words: "ok" says both that a limit was met and was not. Keep the word in one of the lists.',
        ),
        (
            "compounded-assay",
            "low_percent = 90.0",
            "low_percent = 120",
            "low_percent: 120 lies above high_percent, 110.0. Give 110.0 or less.",
        ),
    ],
)
def test_a_record_that_cannot_be_true_is_refused(tmp_path: Path, id: str, old: str, new: str, message: str) -> None:
    text = (RULES_FOLDER / f"{id}.toml").read_text()
    assert old in text
    path = tmp_path / f"{id}.toml"
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(RuleProblem) as caught:
        read_rule(path)
    assert f"{id}.toml, {message}" in [str(problem) for problem in caught.value.problems]
