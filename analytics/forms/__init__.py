"""Forms of the pages of figures: what is typed, kept; what is right is the writers' to say."""
