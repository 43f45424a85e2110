"""The ways in which a number is written down wrongly: digits exchanged, one digit wrong, the point shifted."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from decimal import Decimal
from enum import StrEnum

from msgspec import Struct


class Form(StrEnum):
    """How the pen slipped."""

    EXCHANGED_DIGITS = "exchanged_digits"
    WRONG_DIGIT = "wrong_digit"
    SHIFTED_POINT = "shifted_point"


class Slip(Struct, frozen=True, kw_only=True):
    """A number that one slip away may have been meant, and the form of the slip."""

    other: Decimal
    form: Form


def one_slip_away(number: Decimal) -> tuple[Slip, ...]:
    """Every positive number that one slip turns into this one, or this one into; the relation goes both ways.

    Examples
    --------
    >>> [str(slip.other) for slip in one_slip_away(Decimal("12")) if slip.form is not Form.WRONG_DIGIT]
    ['21', '1.2', '120']
    """
    text = f"{number:f}"
    found = [*_exchanged(text), *_wrong(text)]
    found += [
        Slip(other=_plain(number.scaleb(-1)), form=Form.SHIFTED_POINT),
        Slip(other=_plain(number.scaleb(1)), form=Form.SHIFTED_POINT),
    ]
    return tuple(slip for slip in found if slip.other > 0 and slip.other != number)


def _exchanged(text: str) -> Iterator[Slip]:
    places = [place for place, sign in enumerate(text) if sign.isdigit()]
    for left, right in itertools.pairwise(places):
        signs = list(text)
        signs[left], signs[right] = signs[right], signs[left]
        yield Slip(other=Decimal("".join(signs)), form=Form.EXCHANGED_DIGITS)


def _wrong(text: str) -> Iterator[Slip]:
    for place, sign in enumerate(text):
        if not sign.isdigit():
            continue
        before, after = text[:place], text[place + 1 :]
        for digit in "0123456789":
            if digit != sign:
                yield Slip(other=Decimal(before + digit + after), form=Form.WRONG_DIGIT)


def _plain(number: Decimal) -> Decimal:
    return Decimal(f"{number:f}")
