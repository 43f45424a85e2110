"""Facts of the record that do not fit together, each for whoever releases the batch."""

from __future__ import annotations

SENTENCES = {
    "superseded": "The report of this very file was superseded by report {by} in {folder} ({at}): {because}",
    "corrected_input": "the corrected file (report in {folder})",
    "judge_corrected": "Judge the corrected file, whose report is in {folder}; where this file is right after all, "
    "give --supersedes {folder} and --because.",
    "calibration_over": "The units were weighed on {weighed}, after the calibration of the balance was due ({due}): "
    "see whether it was renewed before, or weigh them again.",
    "expiry": "The expiry ({expiry}) does not lie after the day of making ({made}): see which of the two is wrong.",
    "expired": "The expiry ({expiry}) had passed when this report was made: release no unit; where the day is wrong, "
    "correct it and make a new report.",
    "out_of_order": "{fields[0]} ({days[0]}) lies before {fields[1]} ({days[1]}): see which of the two is wrong.",
    "one_person": "{name} stands under Weighed by and under Checked by: a second person is to check.",
}
