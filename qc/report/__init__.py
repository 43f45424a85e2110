"""Pictures and pages: a judged batch as a document a pharmacist signs. Draws and words what was judged, judges nothing."""
