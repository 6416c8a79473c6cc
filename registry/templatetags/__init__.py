"""What templates of the record can ask for."""
