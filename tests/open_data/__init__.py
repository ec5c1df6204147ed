"""Open recordings with truth, read into the package's own types.

Enters: the folder of open data sets (fixture ``shared_data``). Leaves: an
:class:`open_data.array_source.ArraySource` for the pipeline, and the truth as small frozen
dataclasses from :mod:`open_data.truth`. The data stay where they are; each set's README
names its authors and licence.
"""
