"""The sections of a report, made of pieces, one module a topic, for the terminal and the pages alike."""
