"""The words of the rules, handed to the readers, which stand below the rules and know none of them."""

from __future__ import annotations

from msgspec.structs import replace

from qc.readers.options import KnownForms, ReadOptions
from qc.rules.built_in import rule_ids, set_ids
from qc.rules.forms import find_form, nearest_forms


def with_rule_words(options: ReadOptions, *, rules_are_given: bool = False) -> ReadOptions:
    """Options with which an unknown dosage form, and an unknown name in the field Rules, are refused in their cells.

    Parameters
    ----------
    options : ReadOptions
        What the call says.
    rules_are_given : bool
        Whether the call names the rules itself, so that the field Rules is not used.
    """
    known_rules = None if rules_are_given else frozenset((*set_ids(), *rule_ids()))
    forms = KnownForms(is_known=lambda text: find_form(text) is not None, nearest=_nearest)
    return replace(options, known_rules=known_rules, known_forms=forms)


def _nearest(text: str) -> str | None:
    near = nearest_forms(text, most=1)
    return near[0].name if near else None
