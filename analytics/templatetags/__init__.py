"""What templates of figures can ask for."""
