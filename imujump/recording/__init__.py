"""Recordings on disk: packets and tables in, sample batches out, and back.

What enters: packets as sensors send them (``writer.RecordingWriter``), recording files,
Motion-BIDS data sets, CSV and Parquet tables (``files.open_recording``,
``files.find_recordings``), arrays (``memory.from_arrays``, ``memory.MemorySource``), any
sample source (``saving.save_recording``).

What leaves: sample sources (:class:`imujump.model.SampleSource`) in SI units, whose
``info.warnings`` is complete after the last batch; recording files (``packing.pack_file``
finishes one that a killed writer left behind); exports (``export_motion_bids``,
``export_tables.export_csv``, ``export_tables.export_parquet``). Packets alone are turned
into SI values and back by ``profiles`` and ``packets``.

Every fault of a file is an :class:`imujump.errors.RecordingError` with path, place, remedy.
"""
