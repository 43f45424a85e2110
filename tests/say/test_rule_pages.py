from __future__ import annotations

import pytest

from qc.rules.rule_books import rule_ids, set_ids
from qc.rules.strict_records import RuleProblem
from qc.say.rule_pages import list_rules, page_of

MEAN_MASS_PAGE = """\
mean-mass-3
Mean mass against the planned mass

  Work       Practical Pharmaceutics
  Section    average mass of capsules and suppositories, page 714
  Edition    edition not stated in the copy read
  Read in    an extract at chempedia.info (suppositories, average content)
  Mark       seen
  Judged as  mean-mass

Clauses
  1    The mean mass of suppositories and capsules lies within 3 per cent of
       the calculated mass. This is usual practice in the Netherlands and no
       pharmacopoeia’s limit. [seen]
  2    A batch beyond it is rejected, or its average content is assayed; where
       the content complies the batch need not be rejected because of its
       mass. The cause is to be found either way. [seen]
  3    Not judged here: single-dose powders, for which 5 per cent is usual.
       [seen]
  4    A mean that differs by exactly the limit lies within it. [our reading]

Figures
  limit on the mean mass               3 % of the planned mass
  rounded before comparison            no

  Seen: read in the text. From memory: to be checked first. Our reading: no text
  settles it. Common practice: no published limit. House rule: a limit of this
  house. The pharmacopoeia in force always goes before these records.
"""

CHINESE_SET_PAGE = """\
chp
The Chinese mass test of suppositories

  Work       Pharmacopoeia of the People’s Republic of China
  Section    general chapter 0107, suppositories
  Edition    edition not stated in the copy read
  Read in    an examination page that reproduces the test
             (tiku818.com/tiku/809444)
  Mark       seen

Asks for
  chp-0107            required; suppositories, pessaries [seen]

Notes
  The test is waived where content uniformity is required; this set does not
  judge that.
"""

LIMITS_OF_2_9_5 = """\
Limits, by form and mass
  uncoated tablets, film-coated tablets,      10 %, outer 20 % [seen]
  tablets, up to 80 mg
  uncoated tablets, film-coated tablets,      7.5 %, outer 15 % [seen]
  tablets, more than 80 mg and less than 250
  mg
  uncoated tablets, film-coated tablets,      5 %, outer 10 % [seen]
  tablets, from 250 mg
"""

FIGURES_OF_TEST_B = """\
  units of the first stage             10
  further units of the second stage    20
  inner limit                          15 % of the average
  outer limit                          25 % of the average
  outside inner: passes at once with   1
  outside inner: second stage up to    3
  outside inner: all units pass with   3
  average, at least                    none
  average, at most                     none
"""

FIGURES_OF_TEST_C = """\
  average, at least                    90 % of label
  average, at most                     110 % of label
"""


def test_a_rule_is_shown_clause_by_clause() -> None:
    assert page_of("mean-mass-3") == MEAN_MASS_PAGE


def test_a_set_is_shown_line_by_line() -> None:
    assert page_of("chp") == CHINESE_SET_PAGE


@pytest.mark.parametrize(
    ("id", "block"),
    [
        ("ph-eur-2.9.5", LIMITS_OF_2_9_5),
        ("ph-eur-2.9.6-b", FIGURES_OF_TEST_B),
        ("ph-eur-2.9.6-c", FIGURES_OF_TEST_C),
    ],
)
def test_the_figures_of_a_rule_stand_on_its_page(id: str, block: str) -> None:
    assert block in page_of(id)


def test_a_threshold_is_written_with_its_direction() -> None:
    european, international = (" ".join(page_of(id).split()) for id in ("ph-eur", "int-ph"))
    assert "asked of actives of less than 2 mg or less than 2 % of the unit's mass" in european
    assert "waived where every active is of less than 2 mg or less than 2 % of the unit's mass" in european
    assert "asked of actives of 5 mg or less or 5 % or less of the unit's mass" in international


def test_the_list_names_every_rule_and_every_set_with_its_mark() -> None:
    listed = list_rules()
    starts = [line.split()[0] for line in listed.splitlines() if line.startswith("  ") and line[2] != " "]
    assert set(rule_ids()) | set(set_ids()) <= set(starts)
    assert "  ph-eur-2.9.5        European Pharmacopoeia, 2.9.5               seen\n" in listed
    assert "  int-ph-5.1          International Pharmacopoeia, 5.1,           from memory\n" in listed


def test_every_page_fits_eighty_columns_and_has_no_trailing_space() -> None:
    pages = [list_rules(), *(page_of(id) for id in (*rule_ids(), *set_ids()))]
    for page in pages:
        for line in page.split("\n"):
            assert len(line) <= 80
            assert line == line.rstrip()
        assert page.endswith("\n")
        assert "\N{NO-BREAK SPACE}" not in page


def test_an_unknown_rule_is_answered_with_the_nearest() -> None:
    with pytest.raises(RuleProblem) as caught:
        page_of("ph-eur-2.9.4")
    assert (
        str(caught.value) == 'rules: no rule has the name "ph-eur-2.9.4". Did you mean ph-eur-2.9.24 or ph-eur-2.9.47?'
    )
