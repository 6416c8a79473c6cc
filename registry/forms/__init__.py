"""Forms: what is typed on a page, read into what the record takes; may touch no row."""
