"""How Ladderbook runs: settings, routes and the commands that run the whole."""
