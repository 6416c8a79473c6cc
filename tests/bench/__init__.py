"""The benchmark: the product's calls beside a floor in the same run; only ratios are read."""
