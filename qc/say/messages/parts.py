"""What is said of tip, middle and end of the same units."""

from __future__ import annotations

SENTENCES = {
    "unweighed": "Parts of units were assayed for {active:active}, but no mass of a part was entered: parts can be "
    "compared only as content over mass. Enter the mass of each part.",
    "no_label": "Some parts of units« of {active}» are in mg and some in % of label; the label claim that joins them "
    "is missing, so that they are not compared. Enter the label claim (mg).",
    "compared": "Within units, {active:active}: {parts} {ratio:.3f} (95 % interval {interval:interval 3}«, for "
    "{together} pairs of parts together», {n} units): "
    "{richer:either the {richer} is the richer part|no difference between these parts is shown, and the interval says "
    "how large one may be}.« The parts differ by {differ_percent:.1f} %; whole units differ among themselves by "
    "{between_units:.1f} % RSD.»",
    "one_unit": "Within units, {active:active}: {parts} {ratio:.3f}, one unit; at least two units are needed for an "
    "interval.",
}
