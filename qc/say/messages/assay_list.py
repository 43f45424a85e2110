"""What is said of the units to assay: those drawn for the test, and those that would best show settling."""

from __future__ import annotations

# `noise` is the scatter of content and `change` the drift from the first unit to the last [% of mean]; `power` is the
# chance that the whole list shows it, `power_drawn` that the units drawn do so by themselves [-].
SENTENCES = {
    "listed": "{done:either Assayed so far: {n} units|Assay for the test, drawn at random:}« units {drawn:row}»"
    "«. Assay as well, to see settling and not for the test: {revealing:with_reasons}»"
    "«. With {noise:.1f} % scatter of content ({measured:either measured in the assays, about their fitted change|"
    "assumed, since {done:either too little is assayed to show it|nothing is assayed}}) this list shows a straight "
    "drift of {change:g} % of the mean {power:in_100}»"
    "«; the {done:either assays so far|random units} by themselves {power_drawn:in_100}».",
}
