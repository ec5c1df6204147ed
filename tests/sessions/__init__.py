"""Tests of imujump.sessions."""
