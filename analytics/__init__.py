"""Questions to the registry and their answers; it reads the record and never changes it."""
