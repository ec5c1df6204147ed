"""Sample batches in, attempts with metrics and uncertainty out; no files, clocks or threads."""
