"""The records themselves: where each comes from, and whether their numbers can be true."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import pytest

from qc.rules.built_in import load_rule, load_set, rule_ids, set_ids
from qc.rules.forms import all_forms, find_form
from qc.rules.kinds import kinds_of_tests
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route, route_for
from qc.rules.kinds.mass.bands import band_for, exemption_for, forms_named
from qc.rules.kinds.mass.record import MassBasis, MassRule
from qc.rules.records import Mark

MASS_RULES = ("br-5.1.1", "chp-0107", "int-ph-5.2", "ph-eur-2.9.5")
CONTENT_RULES = ("int-ph-5.1", "int-ph-5.1-tablets", "ph-eur-2.9.6-a", "ph-eur-2.9.6-b", "ph-eur-2.9.6-c")
RULES = (*MASS_RULES, *CONTENT_RULES, "harmonised-udu", "mean-mass-3")
# Their own tests: test_release_records.py.
RELEASE_RULES = (
    "batch-balance",
    "compounded-assay",
    "critical-defects",
    "iso-2859-1",
    "packing-checklist",
    "ph-eur-2.9.2",
    "ph-eur-2.9.22",
    "ph-eur-2.9.24",
    "ph-eur-2.9.47",
    "release-check",
    "stated-assay",
    "superseded-input",
)


def mass_rule(id: str) -> MassRule:
    rule = load_rule(id)
    assert isinstance(rule, MassRule)
    return rule


def content_rule(id: str) -> ContentRule:
    rule = load_rule(id)
    assert isinstance(rule, ContentRule)
    return rule


def dosage_unit_rule() -> DosageUnitRule:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    return rule


def test_these_rules_and_no_others_are_built_in() -> None:
    assert rule_ids() == tuple(sorted((*RULES, *RELEASE_RULES)))


class TestProvenance:
    @pytest.mark.parametrize("id", RULES)
    def test_a_record_names_work_section_edition_and_mark(self, id: str) -> None:
        rule = load_rule(id)
        assert type(rule) is kinds_of_tests()[rule.test].record
        reference = rule.reference
        assert all((rule.title, reference.work, reference.section, reference.edition, reference.read_in))
        assert reference.mark in (Mark.SEEN, Mark.FROM_MEMORY)
        assert (rule.builds_on, rule.differs) == ("", ())

    @pytest.mark.parametrize("id", RULES)
    def test_clauses_are_numbered_from_one_and_are_sentences_with_a_mark(self, id: str) -> None:
        clauses = load_rule(id).clauses
        assert [clause.number for clause in clauses] == [str(number) for number in range(1, len(clauses) + 1)]
        for clause in clauses:
            assert clause.text[0].isupper() or clause.text[0].isdigit()
            assert clause.text.endswith(".")
            assert clause.mark is not Mark.HOUSE

    @pytest.mark.parametrize("id", RULES)
    def test_a_rule_that_has_unread_figures_says_so_in_a_clause(self, id: str) -> None:
        rule = load_rule(id)
        rows = rule.bands if isinstance(rule, MassRule) else rule.routes if isinstance(rule, DosageUnitRule) else ()
        if any(row.mark is Mark.FROM_MEMORY for row in rows) or rule.reference.mark is Mark.FROM_MEMORY:
            assert any(clause.mark is Mark.FROM_MEMORY for clause in rule.clauses)

    @pytest.mark.parametrize("id", ["default", "harmonised", "ph-eur", "int-ph", "chp", "br"])
    def test_a_set_asks_only_for_rules_and_forms_that_are_known(self, id: str) -> None:
        names = {form.name for form in all_forms()}
        for ask in load_set(id).asks:
            rule = load_rule(ask.rule)
            assert set(ask.forms) <= names
            if isinstance(rule, ContentRule):
                assert ask.forms
                assert set(ask.forms) <= set(rule.forms)

    def test_a_set_of_a_book_names_its_source(self) -> None:
        assert [id for id in set_ids() if load_set(id).reference is None] == ["default"]

    @pytest.mark.parametrize("id", RULES)
    def test_forms_stand_under_the_names_of_the_vocabulary(self, id: str) -> None:
        rule = load_rule(id)
        match rule:
            case MassRule():
                named: tuple[str, ...] = forms_named(rule)
            case ContentRule():
                named = rule.forms
            case DosageUnitRule():
                named = tuple(form for row in rule.routes for form in row.forms)
            case _:
                named = ()
        for name in named:
            form = find_form(name)
            assert form is not None
            assert form.name == name


class TestShapes:
    @pytest.mark.parametrize("id", MASS_RULES)
    def test_the_outer_limit_is_double_the_limit(self, id: str) -> None:
        """Each mass text that was read says "double"; Ph. Eur. 2.9.5 says "twice that percentage"."""
        for band in mass_rule(id).bands:
            assert band.outer_percent == 2 * band.limit_percent

    @pytest.mark.parametrize("id", MASS_RULES)
    def test_a_heavier_unit_never_gets_a_wider_limit(self, id: str) -> None:
        rule = mass_rule(id)
        for form in forms_named(rule):
            limits = [
                band.limit_percent
                for mass in range(1, 5000, 10)
                if (band := band_for(rule, form=form, mean_mg=Fraction(mass))) is not None
            ]
            assert all(lighter >= heavier for lighter, heavier in pairwise(limits))

    @pytest.mark.parametrize("id", MASS_RULES)
    def test_every_mass_has_exactly_one_row_or_is_exempt(self, id: str) -> None:
        rule = mass_rule(id)
        edges = {
            Fraction(edge)
            for row in rule.bands
            for edge in (row.above_mg, row.from_mg, row.below_mg, row.up_to_mg)
            if edge is not None
        }
        hair = Fraction(1, 10**9)
        masses = {Fraction(1, 1000), Fraction(10**6)} | {edge + step for edge in edges for step in (-hair, 0, hair)}
        for form in forms_named(rule):
            for mass in masses:
                limited = band_for(rule, form=form, mean_mg=mass) is not None
                exempt = exemption_for(rule, form=form, mean_mg=mass) is not None
                assert limited is not exempt, f"{form} of {mass} mg"

    @pytest.mark.parametrize("id", CONTENT_RULES)
    def test_content_limits_are_nested_and_counts_do_not_shrink(self, id: str) -> None:
        rule = content_rule(id)
        assert rule.inner_percent < rule.outer_percent or not rule.inner_applies
        assert rule.passes_with <= rule.continues_with <= rule.second_passes_with
        assert rule.first_size == 10
        assert rule.second_size == (20 if rule.inner_applies else 0)


class TestMassEdges:
    """Ph. Eur. 2.9.5 table 2.9.5.-1 (01/2008:20905); Int. Ph. 5.2; ChP 0107: which band an exact edge belongs to."""

    @pytest.mark.parametrize(
        ("form", "mass_mg", "limit_percent"),
        [
            ("uncoated tablets", "79.999", "10"),
            ("uncoated tablets", "80", "10"),
            ("uncoated tablets", "80.001", "7.5"),
            ("film-coated tablets", "249.999", "7.5"),
            ("film-coated tablets", "250", "5"),
            ("film-coated tablets", "250.001", "5"),
            ("hard capsules", "299.999", "10"),
            ("hard capsules", "300", "7.5"),
            ("rectal capsules", "300.001", "7.5"),
            ("single-dose powders", "299.999", "10"),
            ("single-dose granules", "300", "7.5"),
            ("powders for parenteral use", "40.001", "10"),
            ("powders for eye-drops and eye lotions", "299.999", "10"),
            ("powders for eye-drops and eye lotions", "300", "7.5"),
            ("suppositories", "1", "5"),
            ("suppositories", "2000", "5"),
            ("pessaries", "9000", "5"),
        ],
    )
    def test_european_table(self, form: str, mass_mg: str, limit_percent: str) -> None:
        band = band_for(mass_rule("ph-eur-2.9.5"), form=form, mean_mg=Fraction(mass_mg))
        assert band is not None
        assert (band.limit_percent, band.mark) == (Decimal(limit_percent), Mark.SEEN)

    @pytest.mark.parametrize(("mass_mg", "exempt"), [("39.999", True), ("40", True), ("40.001", False)])
    def test_parenteral_powder_of_40_mg_or_less_has_no_mass_test(self, mass_mg: str, exempt: bool) -> None:
        rule = mass_rule("ph-eur-2.9.5")
        found = exemption_for(rule, form="powders for parenteral use", mean_mg=Fraction(mass_mg))
        assert (found is not None) is exempt
        assert exemption_for(rule, form="suppositories", mean_mg=Fraction(mass_mg)) is None

    @pytest.mark.parametrize(
        ("mass_mg", "limit_percent"),
        [("79.999", "10"), ("80", "7.5"), ("80.001", "7.5"), ("249.999", "7.5"), ("250", "7.5"), ("250.001", "5")],
    )
    def test_international_table_puts_80_and_250_mg_in_the_middle_band(self, mass_mg: str, limit_percent: str) -> None:
        band = band_for(mass_rule("int-ph-5.2"), form="uncoated tablets", mean_mg=Fraction(mass_mg))
        assert band is not None
        assert band.limit_percent == Decimal(limit_percent)

    @pytest.mark.parametrize(
        ("mass_mg", "limit_percent"),
        [("999.9", "10"), ("1000", "10"), ("1000.1", "7.5"), ("2999.9", "7.5"), ("3000", "7.5"), ("3000.1", "5")],
    )
    def test_chinese_table(self, mass_mg: str, limit_percent: str) -> None:
        band = band_for(mass_rule("chp-0107"), form="suppositories", mean_mg=Fraction(mass_mg))
        assert band is not None
        assert band.limit_percent == Decimal(limit_percent)

    def test_moulded_lozenges_have_no_row_in_any_book(self) -> None:
        for id in MASS_RULES:
            assert band_for(mass_rule(id), form="moulded lozenges", mean_mg=Fraction(2000)) is None

    def test_the_rows_from_memory_are_those_that_were_not_read(self) -> None:
        remembered = {
            (id, form)
            for id in MASS_RULES
            for band in mass_rule(id).bands
            for form in band.forms
            if band.mark is Mark.FROM_MEMORY
        }
        assert remembered == {
            (id, form) for id in ("br-5.1.1", "int-ph-5.2") for form in ("suppositories", "pessaries")
        }


class TestPublishedCounts:
    @pytest.mark.parametrize(
        ("id", "sample_size", "most_beyond", "basis"),
        [
            ("ph-eur-2.9.5", 20, 2, MassBasis.SAMPLE_MEAN),
            ("int-ph-5.2", 20, 2, MassBasis.SAMPLE_MEAN),
            ("br-5.1.1", 20, 2, MassBasis.SAMPLE_MEAN),
            ("chp-0107", 10, 1, MassBasis.LABELLED_MASS),
        ],
    )
    def test_mass(self, id: str, sample_size: int, most_beyond: int, basis: MassBasis) -> None:
        """Ph. Eur. 2.9.5; Int. Ph. 5.2; Brazilian 5.1.1; ChP 0107: sample, number allowed, none beyond double."""
        rule = mass_rule(id)
        assert (rule.sample_size, rule.most_beyond_limit, rule.most_beyond_outer) == (sample_size, most_beyond, 0)
        assert rule.basis is basis

    @pytest.mark.parametrize(
        ("id", "passes", "continues", "second"),
        [
            ("ph-eur-2.9.6-a", 0, 1, 1),
            ("ph-eur-2.9.6-b", 1, 3, 3),
            ("int-ph-5.1", 1, 3, 3),
            ("int-ph-5.1-tablets", 0, 1, 1),
        ],
    )
    def test_content(self, id: str, passes: int, continues: int, second: int) -> None:
        """Ph. Eur. 2.9.6 (01/2017:20906), tests A and B; Int. Ph. 5.1 (counts of suppositories from memory)."""
        rule = content_rule(id)
        assert (rule.passes_with, rule.continues_with, rule.second_passes_with) == (passes, continues, second)
        assert (rule.inner_percent, rule.outer_percent) == (Decimal(15), Decimal(25))

    def test_patches(self) -> None:
        """Ph. Eur. 2.9.6, test C: average within 90 to 110 % of label, each within 75 to 125 % of the average."""
        rule = content_rule("ph-eur-2.9.6-c")
        assert (rule.mean_low_percent, rule.mean_high_percent, rule.outer_percent) == (
            Decimal(90),
            Decimal(110),
            Decimal(25),
        )
        assert not rule.inner_applies

    def test_dosage_units(self) -> None:
        """USP <905> table 2, identical in Ph. Eur. 2.9.40 and JP 6.02."""
        rule = dosage_unit_rule()
        assert (rule.first_size, rule.second_size) == (10, 20)
        assert (rule.first_k, rule.second_k) == (Decimal("2.4"), Decimal("2.0"))
        assert (rule.l1_percent, rule.l2_percent) == (Decimal(15), Decimal(25))
        assert (rule.reference_low_percent, rule.reference_high_percent) == (Decimal("98.5"), Decimal("101.5"))
        assert (rule.mass_route_dose_mg, rule.mass_route_fraction_percent) == (Decimal(25), Decimal(25))
        assert rule.rounding_decimals == 1

    def test_thresholds_of_the_books(self) -> None:
        """Ph. Eur. 1145: less than 2 mg or less than 2 %. Int. Ph. 5.1: 5 mg or less, or 5 % or less."""
        european = {
            (ask.dose_below_mg, ask.fraction_below_percent, ask.inclusive)
            for ask in load_set("ph-eur").asks
            if ask.actives == "under" or ask.unless_all_under
        }
        international = {
            (ask.dose_below_mg, ask.fraction_below_percent, ask.inclusive)
            for ask in load_set("int-ph").asks
            if ask.actives == "under"
        }
        assert european == {(Decimal(2), Decimal(2), False)}
        assert international == {(Decimal(5), Decimal(5), True)}


class TestRoutes:
    """USP <905> table 1: which form takes which route at 25 mg and 25 % or more, and otherwise."""

    @pytest.mark.parametrize(
        ("form", "at_threshold", "otherwise"),
        [
            ("uncoated tablets", Route.MASS, Route.CONTENT),
            ("film-coated tablets", Route.MASS, Route.CONTENT),
            ("coated tablets", Route.CONTENT, Route.CONTENT),
            ("hard capsules", Route.MASS, Route.CONTENT),
            ("soft capsules", Route.CONTENT, Route.CONTENT),
            ("soft capsules holding a solution", Route.MASS, Route.MASS),
            ("solutions in unit-dose containers", Route.MASS, Route.MASS),
            ("single-component solids in unit-dose containers", Route.MASS, Route.MASS),
            ("suppositories", Route.CONTENT, Route.CONTENT),
            ("pessaries", Route.CONTENT, Route.CONTENT),
            ("moulded lozenges", Route.CONTENT, Route.CONTENT),
        ],
    )
    def test_route(self, form: str, at_threshold: Route, otherwise: Route) -> None:
        rule = dosage_unit_rule()
        assert route_for(rule, form=form, at_threshold=True) is at_threshold
        assert route_for(rule, form=form, at_threshold=False) is otherwise

    def test_a_form_that_the_table_does_not_name_has_no_route(self) -> None:
        assert route_for(dosage_unit_rule(), form="suspensions for injection", at_threshold=True) is None


def test_ranges_are_written_as_the_books_write_them() -> None:
    written = [band.masses for band in mass_rule("int-ph-5.2").bands]
    assert written == ["less than 80 mg", "from 80 mg up to 250 mg", "more than 250 mg", "every mass"]
