"""What is too long for `make test`."""
