"""Pages of what the record says: door, filters, answers, page. None imports a model."""
