"""Pages of the record: a door, a form, a writer, an answer; no view reads a model itself."""
