"""House rule files: tighter only, sourced always, and never a way from a failure to a pass."""

from __future__ import annotations

import itertools
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import fields

from qc.rules.house_file import read_house_file
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.bands import band_for, forms_named
from qc.rules.kinds.mass.record import MassRule
from qc.rules.kinds.mean_mass import MeanMassRule
from qc.rules.records import Asks, Mark, Rule
from qc.rules.rule_books import load_rule, rule_book, rule_ids
from qc.rules.strict_records import Findings, RuleProblem
from qc.rules.tightening import fixed, settable, tighten
from qc.say.messages import words
from qc.say.rule_pages import rule_page

SOURCE = 'source = "Standard procedure 12, 2026"'


def written(folder: Path, text: str, name: str = "house.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def house(*lines: str, id: str = "st-example", builds_on: str = "ph-eur-2.9.5", source: str = SOURCE) -> str:
    return "\n".join(("[[rule]]", f'id = "{id}"', f'builds_on = "{builds_on}"', source, *lines)) + "\n"


def problems_of(path: Path) -> list[str]:
    with pytest.raises(RuleProblem) as caught:
        read_house_file(path)
    return str(caught.value).splitlines()


def one_rule(folder: Path, text: str) -> Rule:
    (rule,) = (rule for rule in read_house_file(written(folder, text)).rules.values() if rule.builds_on)
    return rule


class TestATighterRule:
    def test_a_mass_limit_for_one_form_leaves_the_others_as_published(self, tmp_path: Path) -> None:
        rule = one_rule(tmp_path, house('forms = ["Suppository"]', "limit_percent = 4"))
        assert isinstance(rule, MassRule)
        published = load_rule("ph-eur-2.9.5")
        assert isinstance(published, MassRule)
        tightened = band_for(rule, form="suppositories", mean_mg=Fraction(2000))
        assert tightened is not None
        assert (tightened.limit_percent, tightened.outer_percent, tightened.mark) == (
            Decimal(4),
            Decimal(10),
            Mark.HOUSE,
        )
        for form in set(forms_named(published)) - {"suppositories"}:
            for mass in (50, 200, 1000):
                before = band_for(published, form=form, mean_mg=Fraction(mass))
                after = band_for(rule, form=form, mean_mg=Fraction(mass))
                assert before is not None
                assert after is not None
                assert (after.limit_percent, after.mark) == (before.limit_percent, before.mark)

    def test_the_record_says_what_it_builds_on_and_how_it_differs(self, tmp_path: Path) -> None:
        rule = one_rule(tmp_path, house('forms = ["suppositories"]', "limit_percent = 4", "most_beyond_limit = 1"))
        assert (rule.id, rule.builds_on) == ("st-example", "ph-eur-2.9.5")
        assert rule.differs == ("limit_percent of suppositories: 5 -> 4", "most_beyond_limit: 2 -> 1")
        assert rule.reference.work == "Standard procedure 12, 2026"
        assert rule.reference.section == "builds on ph-eur-2.9.5"
        assert rule.reference.mark is Mark.HOUSE
        own = [words(clause.text) for clause in rule.clauses if clause.mark is Mark.HOUSE]
        assert own == [
            "Where a clause of the house differs from a published one below, the clause of the house holds.",
            "The limit on a single mass, in per cent, is 4 for suppositories in this house; ph-eur-2.9.5 has 5.",
            "The number of units that may lie beyond the limit is 1 in this house; ph-eur-2.9.5 has 2.",
        ]
        assert rule.clauses[len(own) :] == load_rule("ph-eur-2.9.5").clauses

    def test_a_limit_equal_to_the_published_one_is_no_change(self, tmp_path: Path) -> None:
        text = house('forms = ["suppositories"]', "limit_percent = 5", "outer_percent = 9")
        assert one_rule(tmp_path, text).differs == ("outer_percent of suppositories: 10 -> 9",)

    def test_a_row_with_several_masses_is_named_with_each(self, tmp_path: Path) -> None:
        rule = one_rule(tmp_path, house('forms = ["hard capsules"]', "limit_percent = 7"))
        assert rule.differs == (
            "limit_percent of hard capsules (less than 300 mg): 10 -> 7",
            "limit_percent of hard capsules (from 300 mg): 7.5 -> 7",
        )

    def test_the_mean_mass_can_be_held_tighter_and_is_asked_for_then(self, tmp_path: Path) -> None:
        text = house("limit_percent = 2", id="st-example-mean", builds_on="mean-mass-3")
        book = rule_book(written(tmp_path, text))
        rule = book.rules["st-example-mean"]
        assert isinstance(rule, MeanMassRule)
        assert rule.limit_percent == 2
        assert book.set.asks[-1] == Asks(rule="st-example-mean", forms=(), required=True, mark=Mark.HOUSE)

    def test_a_second_rule_may_build_on_the_first(self, tmp_path: Path) -> None:
        text = house('forms = ["suppositories"]', "limit_percent = 4", id="first") + house(
            'forms = ["pessaries"]', "limit_percent = 3", id="second", builds_on="first"
        )
        book = rule_book(written(tmp_path, text))
        rule = book.rules["second"]
        assert isinstance(rule, MassRule)
        assert rule.builds_on == "ph-eur-2.9.5"
        assert rule.differs == ("limit_percent of suppositories: 5 -> 4", "limit_percent of pessaries: 5 -> 3")
        assert [clause.number for clause in rule.clauses][:4] == ["H1", "H2", "H3", "1"]
        assert "first" not in book.rules

    def test_a_bound_on_the_average_can_be_set_where_there_is_none(self, tmp_path: Path) -> None:
        rule = one_rule(tmp_path, house("mean_low_percent = 95", builds_on="ph-eur-2.9.6-b"))
        assert rule.differs == ("mean_low_percent: none -> 95",)

    def test_patches_keep_one_pair_of_limits(self, tmp_path: Path) -> None:
        rule = one_rule(tmp_path, house("outer_percent = 20", builds_on="ph-eur-2.9.6-c"))
        assert isinstance(rule, ContentRule)
        assert (rule.inner_percent, rule.outer_percent, rule.inner_applies) == (Decimal(20), Decimal(20), False)

    def test_its_page_names_the_rule_it_builds_on(self, tmp_path: Path) -> None:
        page = rule_page(one_rule(tmp_path, house('forms = ["suppositories"]', "limit_percent = 4")))
        assert "  Builds on  ph-eur-2.9.5\n  Differs    limit_percent of suppositories: 5 -> 4\n" in page
        assert (
            "  suppositories\n      every mass                                 4 %, outer 10 %    [house rule]\n"
            in page
        )


class TestAnAddedForm:
    TEXT = house("[[rule.adds_form]]", 'form = "troche"', "limit_percent = 7.5", 'source = "Validation report 7"')

    def test_a_form_without_a_published_limit_gets_one_with_its_source(self, tmp_path: Path) -> None:
        rule = one_rule(tmp_path, self.TEXT)
        assert isinstance(rule, MassRule)
        band = band_for(rule, form="moulded lozenges", mean_mg=Fraction(1500))
        assert band is not None
        assert (band.limit_percent, band.outer_percent, band.mark) == (Decimal("7.5"), Decimal(15), Mark.HOUSE)
        assert rule.differs == ("moulded lozenges: 7.5 %, none beyond 15.0 % (source: Validation report 7)",)

    @pytest.mark.parametrize("rule_set", ["default", "ph-eur", "int-ph"])
    def test_the_set_asks_the_mass_test_of_the_added_form(self, tmp_path: Path, rule_set: str) -> None:
        base = "int-ph-5.2" if rule_set == "int-ph" else "ph-eur-2.9.5"
        text = f'[set]\nbuilds_on = "{rule_set}"\n' + self.TEXT.replace("ph-eur-2.9.5", base)
        (ask,) = [ask for ask in rule_book(written(tmp_path, text)).set.asks if ask.rule == "st-example"]
        assert not ask.forms or "moulded lozenges" in ask.forms

    def test_a_set_that_names_its_forms_takes_in_the_added_one(self, tmp_path: Path) -> None:
        text = '[set]\nbuilds_on = "chp"\n' + self.TEXT.replace("ph-eur-2.9.5", "chp-0107")
        (ask,) = rule_book(written(tmp_path, text)).set.asks
        assert ask.forms == ("suppositories", "pessaries", "moulded lozenges")

    @pytest.mark.parametrize(
        ("old", "new", "message"),
        [
            (
                '"troche"',
                '"suppository"',
                "rule[1].adds_form[1].form: ph-eur-2.9.5 names suppositories already. "
                'Set limit_percent and "forms" instead.',
            ),
            (
                '"troche"',
                '"trochee bar"',
                'rule[1].adds_form[1].form: "trochee bar" is no known dosage form. Did you mean moulded lozenges?',
            ),
            (
                'source = "Validation report 7"',
                "",
                'rule[1].adds_form[1].source: the key "source" is missing. Add source.',
            ),
            (
                "ph-eur-2.9.5",
                "harmonised-udu",
                "rule[1].adds_form: harmonised-udu has no table of forms to add to. Build on a mass rule.",
            ),
        ],
    )
    def test_an_addition_that_cannot_be_is_refused(self, tmp_path: Path, old: str, new: str, message: str) -> None:
        assert problems_of(written(tmp_path, self.TEXT.replace(old, new))) == [f"house.toml, {message}"]


class TestTheSetOfAHouse:
    def test_house_rules_take_the_place_of_those_they_build_on(self, tmp_path: Path) -> None:
        text = '[set]\nbuilds_on = "ph-eur"\nid = "st-example-set"\n' + house("most_beyond_limit = 1")
        book = rule_book(str(written(tmp_path, text)))
        published = rule_book("ph-eur").set
        assert book.set.id == "st-example-set"
        assert [ask.rule for ask in book.set.asks] == ["st-example", *[ask.rule for ask in published.asks[1:]]]
        assert book.set.asks[0].unless_all_under
        assert set(book.rules) == {ask.rule for ask in book.set.asks}

    def test_without_a_set_table_it_builds_on_the_default_and_bears_the_name_of_the_file(self, tmp_path: Path) -> None:
        book = rule_book(written(tmp_path, house("most_beyond_limit = 1"), name="st-example-rules.toml"))
        assert book.set.id == "st-example-rules"
        assert [ask.required for ask in book.set.asks] == [False] * len(rule_book().set.asks)


class TestRefusals:
    @pytest.mark.parametrize(
        ("text", "messages"),
        [
            (
                house("limit_percent = 6", 'forms = ["suppositories"]'),
                ["rule[1].limit_percent: 6 is looser than the 5 of ph-eur-2.9.5 for suppositories. Give 5 or less."],
            ),
            (
                house("limit_percent = 5.0000001", 'forms = ["pessary"]'),
                [
                    "rule[1].limit_percent: 5.0000001 is looser than the 5 of ph-eur-2.9.5 for pessaries. "
                    "Give 5 or less."
                ],
            ),
            (
                house("sample_size = 10"),
                ["rule[1].sample_size: 10 is looser than the 20 of ph-eur-2.9.5. Give 20 or more."],
            ),
            (
                house("mean_low_percent = 85", builds_on="ph-eur-2.9.6-c"),
                ["rule[1].mean_low_percent: 85 is looser than the 90 of ph-eur-2.9.6-c. Give 90 or more."],
            ),
            (
                house("limit_percnt = 4"),
                [
                    'rule[1].limit_percnt: the key "limit_percnt" is not known. Did you mean limit_percent?',
                ],
            ),
            (
                house("most_beyond_limit = 1", source=""),
                ['rule[1].source: the key "source" is missing. Add source.'],
            ),
            (
                house("most_beyond_limit = 1", source='source = "  "'),
                ['rule[1].source: "  " stands where text is asked for. Write text, in quotes.'],
            ),
            (
                house("most_beyond_limit = 1", builds_on="ph-eur-2.9.7"),
                ['rule[1].builds_on: no rule has the name "ph-eur-2.9.7". Did you mean ph-eur-2.9.2 or ph-eur-2.9.5?'],
            ),
            (
                house("most_beyond_limit = 1", id="ph-eur"),
                ['rule[1].id: the id "ph-eur" is taken. Give it a name of your own.'],
            ),
            (
                house("most_beyond_limit = 1", id="../st"),
                [
                    'rule[1].id: "../st" cannot be an id. '
                    "Use small letters, digits, and single hyphens or dots between them."
                ],
            ),
            (
                house("l1_percent = 12"),
                [
                    'rule[1].l1_percent: a rule on mass-uniformity has no "l1_percent" that a house can set. '
                    "It can set: limit_percent, outer_percent, sample_size, most_beyond_limit, most_beyond_outer."
                ],
            ),
            (
                house("rounding_decimals = 0", "l1_percent = 14", builds_on="harmonised-udu"),
                [
                    'rule[1].rounding_decimals: a house rule cannot set "rounding_decimals" of harmonised-udu. '
                    "Lower l1_percent instead."
                ],
            ),
            (
                house("inner_percent = 20", builds_on="ph-eur-2.9.6-c"),
                [
                    "rule[1].inner_percent: ph-eur-2.9.6-c bounds single contents by the outer limit alone. "
                    "Set outer_percent."
                ],
            ),
            (
                house("limit_percent = 4", 'forms = ["moulded lozenges"]'),
                [
                    "rule[1].forms[1]: ph-eur-2.9.5 has no limit for moulded lozenges. "
                    "Give the form its limit and source under adds_form.",
                ],
            ),
            (
                house("most_beyond_limit = 1", 'forms = ["suppositories"]'),
                [
                    'rule[1].forms: "forms" goes with limit_percent or outer_percent of a mass rule. '
                    "Leave it out; the other figures hold for every form of the rule."
                ],
            ),
            (
                house("outer_percent = 4", 'forms = ["suppositories"]'),
                ["rule[1].bands[8].limit_percent: 5 of suppositories is not below outer_percent, 4. Give less than 4."],
            ),
            (
                house("most_beyond_limit = 1") + house("limit_percent = 3", id="other"),
                [
                    "rule[2].builds_on: st-example builds on ph-eur-2.9.5 too, and a set asks for one of them. "
                    'Write builds_on = "st-example".'
                ],
            ),
            (
                '[set]\nbuilds_on = "ph-eu"\n[sets]\n' + house("most_beyond_limit = 1"),
                [
                    'sets: the key "sets" is not known. Did you mean set?',
                    'set.builds_on: no rule set has the name "ph-eu". Did you mean ph-eur?',
                ],
            ),
            ("", ["rule: the file has no rule. Add a [[rule]] table with id, builds_on and source."]),
            (
                house("[rule.adds]"),
                [
                    'rule[1].adds: the key "adds" is not known. Did you mean adds_form?',
                ],
            ),
            (
                house("most_beyond_limit = 2"),
                [
                    "rule[1]: the rule changes nothing of ph-eur-2.9.5. "
                    "Set at least one figure, or leave the rule out.",
                ],
            ),
            (
                "[rule]\nid = 'x'\n",
                ["rule: a table stands where a list of tables is asked for. Begin each with the line [[rule]]."],
            ),
        ],
    )
    def test_each_fault_is_named_with_its_mend(self, tmp_path: Path, text: str, messages: list[str]) -> None:
        assert problems_of(written(tmp_path, text)) == [f"house.toml, {message}" for message in messages]

    def test_all_faults_of_a_file_come_in_one_run(self, tmp_path: Path) -> None:
        text = house("sample_size = 10", "limit_percnt = 4", source="", id="default") + house(
            "l1_percent = 16", id="other", builds_on="harmonised-udu"
        )
        assert problems_of(written(tmp_path, text)) == [
            'house.toml, rule[1].limit_percnt: the key "limit_percnt" is not known. Did you mean limit_percent?',
            'house.toml, rule[1].source: the key "source" is missing. Add source.',
            'house.toml, rule[1].id: the id "default" is taken. Give it a name of your own.',
            "house.toml, rule[1].sample_size: 10 is looser than the 20 of ph-eur-2.9.5. Give 20 or more.",
            "house.toml, rule[2].l1_percent: 16 is looser than the 15.0 of harmonised-udu. Give 15.0 or less.",
        ]

    def test_a_missing_file_is_named(self, tmp_path: Path) -> None:
        with pytest.raises(RuleProblem) as caught:
            rule_book(tmp_path / "none.toml")
        assert str(caught.value) == (
            "none.toml: the file cannot be opened (No such file or directory). Check the name and that you may read it."
        )


@pytest.mark.parametrize("kind", [MassRule, ContentRule, DosageUnitRule, MeanMassRule])
def test_every_figure_of_a_rule_is_either_tightened_or_fixed_with_a_reason(kind: type[Rule]) -> None:
    figures = {field.name for field in fields(kind)} - {field.name for field in fields(Rule)} - {"forms"}
    if kind is MassRule:
        figures |= {"limit_percent", "outer_percent"}
    assert figures == set(settable(kind)) | set(fixed(kind))
    assert not set(settable(kind)) & set(fixed(kind))


@pytest.mark.parametrize(
    ("id", "name", "looser", "tighter"),
    [
        ("chp-0107", "sample_size", 9, 11),
        ("chp-0107", "most_beyond_limit", 2, 0),
        ("ph-eur-2.9.5", "most_beyond_outer", 1, None),
        ("mean-mass-3", "limit_percent", Decimal("3.1"), Decimal("2.9")),
        ("ph-eur-2.9.6-b", "inner_percent", Decimal("15.1"), Decimal("14.9")),
        ("ph-eur-2.9.6-b", "outer_percent", Decimal("25.1"), Decimal("24.9")),
        ("ph-eur-2.9.6-b", "passes_with", 2, 0),
        ("ph-eur-2.9.6-b", "continues_with", 4, 2),
        ("ph-eur-2.9.6-b", "second_passes_with", 4, 2),
        ("ph-eur-2.9.6-c", "mean_low_percent", Decimal("89.9"), Decimal("90.1")),
        ("ph-eur-2.9.6-c", "mean_high_percent", Decimal("110.1"), Decimal("109.9")),
        ("harmonised-udu", "l1_percent", Decimal("15.1"), Decimal("14.9")),
        ("harmonised-udu", "l2_percent", Decimal("25.1"), Decimal("24.9")),
    ],
)
def test_a_figure_one_step_looser_is_refused_and_one_step_tighter_is_taken(
    id: str, name: str, looser: Decimal | int, tighter: Decimal | int | None
) -> None:
    base = load_rule(id)
    assert wished(base, {name: looser}) is None
    assert wished(base, {name: getattr(base, name)}) == base
    if tighter is not None:
        assert getattr(wished(base, {name: tighter}), name) == tighter


# What follows judges small samples by its own few lines, so that the promise is tested on outcomes and not on the
# table of directions again.


# Deviations crowd around the limits of the books, figures around those of the records: far from them all rules agree.
def deviations_near(inner: int, outer: int) -> st.SearchStrategy[list[Fraction]]:
    """A few deviations near the inner limit and seldom one near the outer; units near the mean change no count."""

    def near(limit: int) -> st.SearchStrategy[Fraction]:
        return st.builds(
            lambda halves, sign: sign * (limit + Fraction(halves, 2)), st.integers(-3, 3), st.sampled_from([-1, 1])
        )

    return st.builds(list.__add__, st.lists(near(inner), max_size=5), st.lists(near(outer), max_size=1))


STEP = st.sampled_from([-2, -1, Decimal("-0.5"), 0, Decimal("0.5"), 1, 2])


def figures_near(base: Rule, steps: dict[str, Decimal | int]) -> dict[str, Decimal | int]:
    """Figures a few steps from those of a record; counts move by whole steps and none goes below zero."""
    figures: dict[str, Decimal | int] = {}
    for name, step in steps.items():
        holder: object = base
        if isinstance(base, MassRule) and name in ("limit_percent", "outer_percent"):
            holder = band_for(base, form="suppositories", mean_mg=Fraction(2000))
        value = getattr(holder, name)
        if value is None:
            value = Decimal(90 if name == "mean_low_percent" else 110)
        figures[name] = max(0, value + int(step)) if isinstance(value, int) else max(Decimal(0), value + step)
    return figures


def wished(base: Rule, figures: dict[str, Decimal | int]) -> Rule | None:
    findings = Findings("house.toml")
    of_a_band = isinstance(base, MassRule) and not figures.keys().isdisjoint({"limit_percent", "outer_percent"})
    forms = ("suppositories",) if of_a_band else ()
    rule, _ = tighten(base, figures, forms=forms, at="rule[1]", findings=findings)
    return None if findings.problems else rule


def mass_passes(rule: MassRule, form: str, deviations: list[Fraction]) -> bool:
    band = band_for(rule, form=form, mean_mg=Fraction(2000))
    assert band is not None
    beyond = sum(abs(deviation) > band.limit_percent for deviation in deviations)
    beyond_outer = sum(abs(deviation) > band.outer_percent for deviation in deviations)
    return beyond <= rule.most_beyond_limit and beyond_outer <= rule.most_beyond_outer


@given(
    id=st.sampled_from(["ph-eur-2.9.5", "int-ph-5.2", "br-5.1.1"]),
    deviations=deviations_near(5, 10),
    steps=st.dictionaries(
        st.sampled_from(["limit_percent", "outer_percent", "most_beyond_limit", "most_beyond_outer"]), STEP, max_size=2
    ),
)
def test_a_house_mass_rule_never_passes_a_sample_that_the_published_rule_fails(
    id: str, deviations: list[Fraction], steps: dict[str, Decimal | int]
) -> None:
    base = load_rule(id)
    assert isinstance(base, MassRule)
    rule = wished(base, figures_near(base, steps))
    if isinstance(rule, MassRule):
        for form in ("suppositories", "pessaries"):
            assert mass_passes(base, form, deviations) or not mass_passes(rule, form, deviations)


def content_stage(rule: ContentRule, deviations: list[Fraction], mean_percent: Fraction) -> str:
    """What the first stage says: pass, go on, fail; and after going on, the second stage on the same deviations."""
    low, high = rule.mean_low_percent, rule.mean_high_percent
    if (low is not None and mean_percent < low) or (high is not None and mean_percent > high):
        return "fail"
    if any(abs(deviation) > rule.outer_percent for deviation in deviations):
        return "fail"
    outside = sum(abs(deviation) > rule.inner_percent for deviation in deviations) if rule.inner_applies else 0
    return "pass" if outside <= rule.passes_with else "go on" if outside <= rule.continues_with else "fail"


def second_passes(rule: ContentRule, deviations: list[Fraction]) -> bool:
    outside = sum(abs(deviation) > rule.inner_percent for deviation in deviations)
    return outside <= rule.second_passes_with and not any(abs(d) > rule.outer_percent for d in deviations)


@given(
    id=st.sampled_from([id for id in rule_ids() if isinstance(load_rule(id), ContentRule)]),
    deviations=deviations_near(15, 25),
    mean_percent=st.sampled_from([88, 89, 90, 91, 100, 109, 110, 111, 112]).map(Fraction),
    steps=st.dictionaries(st.sampled_from(list(settable(ContentRule))), STEP, min_size=1, max_size=2),
)
def test_a_house_content_rule_never_passes_a_sample_that_the_published_rule_fails(
    id: str, deviations: list[Fraction], mean_percent: Fraction, steps: dict[str, Decimal | int]
) -> None:
    base = load_rule(id)
    assert isinstance(base, ContentRule)
    rule = wished(base, figures_near(base, steps))
    if isinstance(rule, ContentRule):
        rank = {"fail": 0, "go on": 1, "pass": 2}
        published, own = (content_stage(each, deviations, mean_percent) for each in (base, rule))
        assert rank[own] <= rank[published]
        assert second_passes(base, deviations) or not second_passes(rule, deviations)


@given(
    value=st.integers(120, 280).map(lambda tenths: Decimal(tenths) / 10),
    steps=st.dictionaries(st.sampled_from(["l1_percent", "l2_percent"]), STEP, min_size=1),
)
def test_a_house_dosage_unit_rule_never_passes_a_value_that_the_published_rule_fails(
    value: Decimal, steps: dict[str, Decimal | int]
) -> None:
    base = load_rule("harmonised-udu")
    assert isinstance(base, DosageUnitRule)
    rule = wished(base, figures_near(base, steps))
    if isinstance(rule, DosageUnitRule):
        assert value <= base.l1_percent or not value <= rule.l1_percent
        assert value <= base.l2_percent or not value <= rule.l2_percent


STEPS: tuple[Decimal | int, ...] = (-2, -1, Decimal("-0.5"), Decimal("0.5"), 1, 2)


def every_sample(inner: int, outer: int, most: int) -> list[list[Fraction]]:
    """Every sample of a few deviations below, at and above the two limits."""
    places = [limit + Fraction(halves, 2) for limit in (inner, outer) for halves in (-1, 0, 1)]
    return [
        list(sample) for size in range(most + 1) for sample in itertools.combinations_with_replacement(places, size)
    ]


@pytest.mark.parametrize("name", ["limit_percent", "outer_percent", "most_beyond_limit", "most_beyond_outer"])
def test_no_single_mass_figure_of_a_house_turns_a_failure_into_a_pass(name: str) -> None:
    base = load_rule("ph-eur-2.9.5")
    assert isinstance(base, MassRule)
    accepted = 0
    for step in STEPS:
        rule = wished(base, figures_near(base, {name: step}))
        if not isinstance(rule, MassRule):
            continue
        accepted += 1
        for sample in every_sample(5, 10, 4):
            assert mass_passes(base, "suppositories", sample) or not mass_passes(rule, "suppositories", sample)
    assert accepted


@pytest.mark.parametrize("name", list(settable(ContentRule)))
def test_no_single_content_figure_of_a_house_turns_a_failure_into_a_pass(name: str) -> None:
    rank = {"fail": 0, "go on": 1, "pass": 2}
    bases = [load_rule(id) for id in ("ph-eur-2.9.6-b", "ph-eur-2.9.6-c")]
    accepted = 0
    for base, step in itertools.product(bases, STEPS):
        assert isinstance(base, ContentRule)
        rule = wished(base, figures_near(base, {name: step}))
        if not isinstance(rule, ContentRule):
            continue
        accepted += 1
        for sample, mean_percent in itertools.product(every_sample(15, 25, 4), (89, 100, 111)):
            published, own = (content_stage(each, sample, Fraction(mean_percent)) for each in (base, rule))
            assert rank[own] <= rank[published]
        for sample in every_sample(15, 25, 4):
            assert second_passes(base, sample) or not second_passes(rule, sample)
    assert accepted


@pytest.mark.parametrize(
    ("line", "shown"),
    [
        ("sample_size = 100000000000", "1.00e+11"),
        ("sample_size = 1_000_000", "1.00e+6"),
        ("outer_percent = 1e-999999", "1e-999999"),
        ("outer_percent = 1e999999", "1e+999999"),
        ("outer_percent = 9.00000000000000000000000000001", "9.00"),
    ],
)
def test_a_figure_that_could_not_be_worked_with_is_refused_at_once(tmp_path: Path, line: str, shown: str) -> None:
    assert problems_of(written(tmp_path, house(line))) == [
        f"house.toml, rule[1].{line.partition(' ')[0]}: {shown} is no figure of a rule. Write 0, or a number between "
        "0.000000000001 and 100,000 that is exact."
    ]
