"""Tests of imujump.capture."""
