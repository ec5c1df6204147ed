"""Tests of imujump.recording."""
