"""Recordings on disk: packets and tables in, sample batches out, and back."""
