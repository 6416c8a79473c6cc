"""What the product promises, as tests; nothing the product itself imports."""
