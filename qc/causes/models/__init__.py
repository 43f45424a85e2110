"""One file a cause: how it explains measurements, what is said for and against it, and how it is drawn."""
