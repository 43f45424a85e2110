"""Whether a second stage can still be passed: whether any contents of the units to come would clear those known.

Of n units known (mean x, sum of squared differences from it S) and r to come, N = n + r, the mean of all is some m. The
mean of those to come is then y = (N m - n x) / r. For that mean their spread is least when each of them holds y, and so
is the distance of the farthest of them from M: nothing is lost by looking only at further units that are all alike. The
whole question is whether there is an m at which

    AV = |M - m| + k s < L1 + half a step of its rounding,    s² = (S + n N / r (x - m)²) / (N - 1)

and every unit, y among them, lies from (1 - h) M to (1 + h) M, with h = L2 / 100. M is the lower end of its range where
m lies below that, m itself within the range, the upper end above it. On each of these three stretches the condition on
single units bounds m from below and from above, and AV less its limit, squared, is a parabola in m that opens upward:
its least value lies at its vertex, or at the end of the stretch that is nearer to it. All of it is arithmetic, decided
exactly on fractions and by the formula of a spreadsheet alike.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import Any

from qc.quantities import mean, sample_variance


def can_be_passed(
    known: Sequence[Fraction],
    *,
    beside: Sequence[Fraction],
    whole: int,
    reference: tuple[Fraction, Fraction],
    limit: Fraction,
    share: Fraction,
    k: Fraction,
) -> bool:
    """Whether contents [% of label] of the units to come are left that pass; the arguments are those below."""
    every, n = (*known, *beside), len(known)
    return any(
        stretches_that_pass(
            n=n,
            whole=whole,
            mean=mean(known),
            squares=(n - 1) * sample_variance(known),
            ends=(min(every), max(every)),
            reference=reference,
            limit=limit,
            share=share,
            k=k,
        )
    )


def stretches_that_pass(
    *,
    n: Any,
    whole: Any,
    mean: Any,
    squares: Any,
    ends: tuple[Any, Any],
    reference: tuple[Any, Any],
    limit: Any,
    share: Any,
    k: Any,
    smallest: Callable[..., Any] = min,
    largest: Callable[..., Any] = max,
) -> tuple[Any, Any, Any]:
    """Whether a mean of all units below, within, and above the range of M would pass, with the best units to come.

    Parameters
    ----------
    n, whole : number or Expression
        Units known, and units of both stages together, which are more [units]. So few may not be known that those to
        come could hold any mean: n is more than whole - whole / (1 + share).
    mean, squares : number or Expression
        Mean of the units known [% of label], and the sum of their squared differences from it [(% of label)²].
    ends : pair of numbers or Expressions
        The least and the greatest content known, of units assayed beside the stages too [% of label].
    reference : pair of numbers or Expressions
        The least and the greatest M [% of label].
    limit : number or Expression
        What AV must stay below [% of label].
    share, k : number or Expression
        L2 as a share of M, and the constant of the second stage [-].
    smallest, largest : callable
        The least and the greatest of several numbers, or of several Expressions.

    Returns
    -------
    tuple of three truths or Expressions
        No second stage can clear the sample where none of them holds.
    """
    (least, greatest), (low, high) = ends, reference
    left, down, up, known = whole - n, 1 - share, 1 + share, n * mean
    scatter = k * k / (whole - 1)
    pull = scatter * n * whole / left

    def passes(start: Any, end: Any, *, vertex: Any, room: Callable[[Any], Any]) -> Any:
        best = smallest(largest(vertex, start), end)
        squared = scatter * squares + pull * (mean - best) * (mean - best)
        return (start <= end) & (squared < room(best) * room(best))

    def at_an_end(centre: Any, *, start: Any, end: Any, far: Any) -> Any:
        """M stays at an end of its range; `far` is the mean at which nothing of the limit is left."""
        return (
            (down * centre <= least)
            & (greatest <= up * centre)
            & passes(
                largest(start, (left * down * centre + known) / whole),
                smallest(end, (left * up * centre + known) / whole),
                vertex=(pull * mean - far) / (pull - 1),
                room=lambda m: m - far,
            )
        )

    return (
        at_an_end(low, start=low - limit, end=low, far=low - limit),
        passes(
            largest(low, greatest / up, known / (whole - left * down)),
            smallest(high, least / down, known / (whole - left * up)),
            vertex=mean,
            room=lambda m: limit,
        ),
        at_an_end(high, start=high, end=high + limit, far=high + limit),
    )
