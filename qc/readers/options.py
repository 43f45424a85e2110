"""What a call may say about an input that the input does not say itself."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Literal

from msgspec import Struct

DecimalMark = Literal["comma", "point"]


class KnownForms(Struct, frozen=True, kw_only=True):
    """The dosage forms that rules exist for, asked by the readers, which know no rule.

    Parameters
    ----------
    is_known : callable
        Whether a text names one of them.
    nearest : callable
        The name that looks most like a text, or None.
    """

    is_known: Callable[[str], bool]
    nearest: Callable[[str], str | None]


class ReadOptions(Struct, frozen=True, kw_only=True):
    """Facts that come from the call.

    Parameters
    ----------
    form : str or None
        Dosage form, where the input names none.
    label_mg : Decimal or None
        Label claim of the one active of a bare table [mg].
    displacement : Decimal or None
        Displacement value of the one active of a bare table [g of active that displaces 1 g of base].
    rules : str or None
        Rules to judge by; goes before what the input names.
    decimal : "comma", "point" or None
        The decimal mark of numbers typed as text, where the file leaves it open.
    separator : str or None
        What separates the fields of a delimited file, where it cannot be recognised: "," or ";" or a tab.
    known_rules : frozenset of str or None
        Names that the field Rules may hold besides the path of a .toml file; not checked when None.
    known_forms : KnownForms or None
        What a dosage form is held against; not checked when None.
    """

    form: str | None = None
    label_mg: Decimal | None = None
    displacement: Decimal | None = None
    rules: str | None = None
    decimal: DecimalMark | None = None
    separator: str | None = None
    known_rules: frozenset[str] | None = None
    known_forms: KnownForms | None = None
