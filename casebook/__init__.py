"""Teaching and release: what leaves the registry, built only from de-identified cases and answers."""
