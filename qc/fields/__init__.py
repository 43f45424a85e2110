"""Every sheet and column once: heading, kind, unit, plausible range, example, hint, width and where it goes.

The reader, the entry workbook, the comparison of two entries and the plan all read these records, so that a new column
is one line in `qc.fields.sheets`, an attribute of a record in `qc.batch`, and its use.
"""
