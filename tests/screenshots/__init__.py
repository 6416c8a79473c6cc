"""Pictures of the pages for the README, and what must hold of each page at every width, light and dark."""
