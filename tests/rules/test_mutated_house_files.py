"""House files spelled in every way that TOML has: whatever is read is at least as strict as what it builds on.

Nothing here asks the table of directions: a sample that the published rule does not pass is judged by both rules.
"""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from qc.contents import Scale
from qc.results import Verdict
from qc.rules.built_in import RuleBook
from qc.rules.house_file import read_house_file
from qc.rules.kinds.content.procedure import judge_contents
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.procedure import judge_dosage_units
from qc.rules.kinds.dosage_units.record import DosageUnitRule, Route
from qc.rules.kinds.mass.bands import band_for
from qc.rules.kinds.mass.procedure import judge_masses
from qc.rules.kinds.mass.record import MassRule
from qc.rules.measured import Measured, Stages
from qc.rules.records import Rule
from qc.rules.rule_books import load_rule
from qc.rules.strict_records import RuleProblem
from qc.rules.tightening import fixed, settable

BASES = ("ph-eur-2.9.5", "int-ph-5.2", "br-5.1.1", "chp-0107", "ph-eur-2.9.6-b", "ph-eur-2.9.6-c", "harmonised-udu")
FORMS = (
    "suppositories",
    "Suppositories",
    "SUPPOSITORY",
    " suppositories ",
    "zäpfchen",
    "pessaries",
    "sup\\u0070ositories",
)
FIGURES = tuple(
    dict.fromkeys(name for id in BASES for kind in [type(load_rule(id))] for name in (*settable(kind), *fixed(kind)))
)


def value(draws: Random, base: str, name: str) -> Decimal:
    """A figure a little tighter than the published one, the same, a little looser, or anything."""
    rule = load_rule(base)
    holder = band_for(rule, form="suppositories", mean_mg=Fraction(2000)) if isinstance(rule, MassRule) else None
    now = getattr(holder, name, None) if hasattr(holder, name) else getattr(rule, name, None)
    near = Decimal(now) if isinstance(now, int | Decimal) else Decimal(95)
    if draws.random() < 0.1:
        return Decimal(draws.randrange(600)) / 10
    known = settable(type(rule))
    tight = -1 if name in known and known[name].about.tighter == "less" else 1
    step = Decimal(draws.choice(["2", "1", "1", "1", "0.5", "0.001"])) if draws.random() < 0.7 else Decimal(-1)
    return abs(near + tight * (step.to_integral_value() if isinstance(now, int) else step))


def spelled(draws: Random, figure: Decimal) -> str:
    """A figure as TOML, and one in twenty as some take for TOML."""
    whole, scaled = int(figure), figure.scaleb(3).normalize()
    sound = (
        [f"{whole}", f"0x{whole:x}", f"0b{whole:b}", f"+{whole}"] if figure == whole else [f"{figure}", f"+{figure}"]
    )
    if draws.random() > 1 / 20:
        return draws.choice(sound)
    ways = [f"{scaled:f}e-3", f"{figure}e0", f"{figure}E+0", f"{figure}0", f"{whole}.000", f"{whole}", f"0o{whole:o}"]
    ways += [
        f"{whole}_0",
        f"-{figure}",
        f'"{figure}"',
        f"[{figure}]",
        f"{{v = {figure}}}",
        f"{figure}e2",
        f"{figure}e-2",
    ]
    ways += [f"{figure}e-99999", f"{figure}e99999", "true", "nan", "inf", "-0.0", "1979-05-27", "''", f"'{figure}'"]
    return draws.choice(ways)


def key(draws: Random, name: str) -> str:
    """A key as TOML, and one in twenty near it."""
    if draws.random() > 0.05:
        return draws.choice([name, name, f'"{name}"', f"'{name}'", f'"{name[:-1]}\\u{ord(name[-1]):04x}"'])
    return draws.choice([name.upper(), f'"{name} "', f'" {name}"', f'"{name}\\u200b"', f"{name}.x", f'"{name}" . x'])


def lines(draws: Random, base: str) -> list[str]:
    """The lines of a table that sets a few figures."""
    kind = type(load_rule(base))
    said = [f'builds_on = "{base}"', 'source = "Standard procedure 12"']
    known = list(settable(kind)) if draws.random() < 0.9 else [*fixed(kind), *FIGURES]
    names = draws.sample(known, min(len(known), draws.choice([1, 1, 2])))
    said += [f"{key(draws, name)} = {spelled(draws, value(draws, base, name))}" for name in names]
    if {"limit_percent", "outer_percent"} & set(names) and draws.random() < 0.7:
        said.append(f'forms = ["{draws.choice(FORMS)}"]')
    if draws.random() < 0.05:
        limit = spelled(draws, value(draws, base, "limit_percent"))
        said.append(f'adds_form = [{{form = "{draws.choice(FORMS)}", limit_percent = {limit}, source = "x"}}]')
    return draws.sample(said, len(said))


def house_file(draws: Random) -> tuple[str, str]:
    """The base and the text of a house file: one rule, or one that builds on another of the same file."""
    base = draws.choice(BASES)
    tables = [('"house-a"', lines(draws, base))]
    if draws.random() < 0.25:
        again = [
            line.replace(f'"{base}"', '"house-a"') if draws.random() < 0.8 else line for line in lines(draws, base)
        ]
        tables.append(('"house-b"', again))
    if draws.random() < 0.7:
        return base, "".join("[[rule]]\n" + "\n".join([f"id = {id}", *said]) + "\n" for id, said in tables)
    return base, "rule = [" + ", ".join("{" + ", ".join([f"id = {id}", *said]) + "}" for id, said in tables) + "]\n"


def sample_of(draws: Random) -> list[Fraction]:
    """Thirty values about 100, some of them near the limits of the books."""
    middle = draws.choice([100, 100, 100, 100, 92, 89, 108, 111])
    away = [
        draws.choice([5, 6, 7, 10, 12, 15, 16, 20, 25, 26, 30]) for _ in range(draws.choice([0, 1, 1, 2, 2, 3, 4, 6]))
    ]
    near = [Fraction(draws.randint(-300, 300), 100) for _ in range(30 - len(away))]
    signed = [Fraction(far * draws.choice([-1, 1]) * 10 + draws.randint(-2, 2), 10) for far in away]
    return [middle + one for one in draws.sample([*near, *signed], 30)]


def complies(rule: Rule, values: list[Fraction], *, weighed: int = 20) -> bool:
    """Whether a sample complies with a rule by the procedures of the package; a second stage only where one is due.

    `weighed` is how many masses both rules are given: another unit moves the mean from which all are counted.
    """
    if isinstance(rule, MassRule):
        units = tuple(Measured(unit=str(at), value=value / 50) for at, value in enumerate(values, 1))
        judged = judge_masses(units[:weighed], rule=rule, form="suppositories")
        return judged.verdict is Verdict.COMPLIES
    units = tuple(Measured(unit=str(at), value=value) for at, value in enumerate(values, 1))
    first = contents_verdict(rule, Stages(first=units[:10]))
    last = (
        contents_verdict(rule, Stages(first=units[:10], second=units[10:])) if first is Verdict.SECOND_STAGE else first
    )
    return last is Verdict.COMPLIES


def contents_verdict(rule: Rule, stages: Stages) -> Verdict:
    """The verdict on contents in % of label."""
    if isinstance(rule, ContentRule):
        return judge_contents(
            stages, rule=rule, active="drug", scale=Scale(unit="% of label", label=Fraction(100))
        ).verdict
    assert isinstance(rule, DosageUnitRule)
    return judge_dosage_units(
        stages, to_percent=list, rule=rule, active="drug", target_percent=Decimal(100), route=Route.CONTENT
    ).verdict


def read(text: str, folder: Path) -> RuleBook | None:
    path = folder / "house.toml"
    path.write_text(text, encoding="utf-8")
    try:
        return read_house_file(path)
    except RuleProblem:
        return None


def looser(book: RuleBook, base: str, values: list[Fraction]) -> list[str]:
    """The house rules that pass a sample which the published rule does not pass."""
    published = load_rule(base)
    found = []
    for id, rule in book.rules.items():
        weighed = max(20, getattr(rule, "sample_size", 20))
        if rule.builds_on == base and complies(rule, values, weighed=weighed):
            found += [] if complies(published, values, weighed=weighed) else [id]
    return found


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(seed=st.integers(0, 2**64))
def test_no_spelling_of_a_house_file_loosens_a_rule(seed: int, tmp_path: Path) -> None:
    base, text = house_file(Random(seed))
    book = read(text, tmp_path)
    for at in range(20) if book is not None else ():
        assert looser(book, base, sample_of(Random(seed + at))) == [], text


@pytest.mark.parametrize("four", ["4", "0x4", "0o4", "0b100", "40e-1", "4.000", "+4", "0.4e1", "4_0e-1"])
def test_each_way_of_writing_four_is_four(four: str, tmp_path: Path) -> None:
    lines = ["[[rule]]", 'id = "a"', 'builds_on = "ph-eur-2.9.5"', 'source = "x"', 'forms = ["suppositories"]']
    book = read("\n".join([*lines, f"limit_percent = {four}"]), tmp_path)
    assert book is not None
    rule = book.rules["a"]
    assert isinstance(rule, MassRule)
    band = band_for(rule, form="suppositories", mean_mg=Fraction(2000))
    assert band is not None
    assert band.limit_percent == 4


@pytest.mark.parametrize("five", ["4_0", "5.000000000001", "0x6", "5e1", "6", "1_0.0"])
def test_no_way_of_writing_more_than_five_is_taken(five: str, tmp_path: Path) -> None:
    lines = ["[[rule]]", 'id = "a"', 'builds_on = "ph-eur-2.9.5"', 'source = "x"', 'forms = ["suppositories"]']
    assert read("\n".join([*lines, f"limit_percent = {five}"]), tmp_path) is None


def test_many_of_the_files_are_read_and_many_samples_do_not_comply(tmp_path: Path) -> None:
    seen: Counter[str] = Counter()
    for seed in range(200):
        base, text = house_file(Random(seed))
        if read(text, tmp_path) is not None:
            seen["read"] += 1
            seen["does not comply"] += not complies(load_rule(base), sample_of(Random(seed)))
    assert seen["read"] > 25
    assert seen["does not comply"] > 10


def test_a_looser_rule_would_be_noticed() -> None:
    from msgspec.structs import replace

    base = load_rule("ph-eur-2.9.5")
    assert isinstance(base, MassRule)
    wide = replace(base, id="a", builds_on=base.id, most_beyond_limit=20)
    values = [Fraction(100)] * 12 + [Fraction(107), Fraction(93)] * 4
    assert complies(wide, values)
    assert not complies(base, values)


@pytest.mark.benchmarks
def test_twenty_thousand_spellings_loosen_nothing(tmp_path: Path) -> None:
    for seed in range(20_000):
        base, text = house_file(Random(seed))
        book = read(text, tmp_path)
        for at in range(5) if book is not None else ():
            assert looser(book, base, sample_of(Random(seed + at))) == [], text
