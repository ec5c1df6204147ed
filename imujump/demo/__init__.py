"""A demo club whose truth is known. In: a plan of changes. Out: a store filled as in real use."""
