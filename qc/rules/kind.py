"""A kind of rule: its record, the tests it serves, and the few things that the fields of its record cannot say.

Reading and checking a file, tightening by a house and the page of a rule go by the fields of the record and what stands
beside them (`About`). A kind fills a hook only where something needs more than that.
"""

from __future__ import annotations

from decimal import Decimal
from enum import Enum
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from msgspec import Struct

from qc.rules.records import Rule
from qc.rules.strict_records import Findings

if TYPE_CHECKING:
    from qc.rules.kinds.mass.record import MassBand
    from qc.stats.sample_plans import SamplePlan

RuleOfKind = TypeVar("RuleOfKind", bound=Rule)


class AddedForm(Struct, frozen=True, kw_only=True):
    """A dosage form to which a house gives a limit, because the published table has none."""

    form: str
    limit_percent: Decimal
    source: str
    outer_percent: Decimal | None = None


class Kind(Struct, Generic[RuleOfKind], frozen=True, kw_only=True):
    """What the package knows of one kind of rule; each module of `qc/rules/kinds/` holds one as `KIND`.

    Parameters
    ----------
    record : type of rule
        The record whose fields are the schema of its files.
    tests : tuple of str
        The ids of the tests that rules of this kind serve.
    place : int
        Where it stands in the list of rules.
    of_units : bool
        Whether it is judged from the units; otherwise it is one of the checks of release.
    per_active : bool
        Whether it is judged for each active by itself.
    chance : bool
        Whether a chance of passing is worked out for it.
    """

    record: type[RuleOfKind]
    tests: tuple[str, ...]
    place: int
    of_units: bool = True
    per_active: bool = False
    chance: bool = False

    def own(self, rule: Rule | None) -> RuleOfKind | None:
        """The rule where it is one of this kind."""
        return rule if isinstance(rule, self.record) else None

    def sizes(self, rule: RuleOfKind) -> tuple[int, int]:
        """Units of the first stage, and further units of a second; 0 where there is none [units]."""
        return getattr(rule, "first_size", 0), getattr(rule, "second_size", 0)

    def plan(
        self, rule: RuleOfKind, *, band: MassBand | None = None, target_percent: float = 100.0, rounded: bool = False
    ) -> SamplePlan:
        """What a rule asks of a sample, in floats; only for chances, a batch in hand is judged on exact decimals.

        Parameters
        ----------
        rule : Rule
        band : MassBand, optional
            The row of the table of a mass rule; may be left out where the table has one row.
        target_percent : float
            Target content of the dosage-unit test at the time of manufacture, T [% of label].
        rounded : bool
            Whether the acceptance value is rounded as the rule says, a five going up, before it is compared.

        Returns
        -------
        AcceptanceGeometry or CountPlan

        Raises
        ------
        ValueError
            When the rule judges no sample of units, or its table has several rows and none is named: a chance by the
            limits of another form would be wrong.
        """
        raise ValueError(f"{rule.id} compares a mean with a plan; no chance of passing is worked out for it")

    def note_misshapen(self, rule: RuleOfKind, findings: Findings) -> None:
        """Note what cannot be true of the numbers of a rule, beyond what stands beside its fields."""

    def with_form(self, rule: RuleOfKind, *, form: str, added: AddedForm) -> tuple[RuleOfKind, str]:
        """The rule with a row for a form that its table does not have, and a line about it."""
        raise NotImplementedError

    def forms_named(self, rule: RuleOfKind) -> tuple[str, ...]:
        """Every form that the tables of a rule name, of a kind to which a house may add some."""
        return ()

    def asked_of(self, rule: RuleOfKind) -> tuple[str, ...]:
        """The forms of which a house that adds the rule to a set asks for it; empty for every form."""
        forms: tuple[str, ...] = getattr(rule, "forms", ())
        return forms


def shown(value: Any, *, unit: str = "", none: str = "none") -> str:
    """A figure of a rule as the rule writes it.

    Examples
    --------
    >>> shown(Decimal("7.5"), unit="%"), shown(3), shown(("a", "b")), shown(None)
    ('7.5 %', '3', 'a, b', 'none')
    """
    match value:
        case None:
            return none
        case bool():
            text = "yes" if value else "no"
        case Enum():
            text = str(value.value)
        case Decimal():
            text = f"{value:f}"
        case tuple():
            text = ", ".join(str(one) for one in value)
        case _:
            text = str(value)
    return f"{text} {unit}" if unit else text
