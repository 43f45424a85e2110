"""Pictures and pages: a judged batch as a document a pharmacist signs. Nothing is judged here."""
