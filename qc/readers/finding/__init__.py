"""The table of weights in a spreadsheet that somebody made: where it stands, how it is laid out, what is beside it."""
