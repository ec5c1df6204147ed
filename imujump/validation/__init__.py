"""Recordings with known truth in, agreement of every metric with it out."""
