"""Robustness campaigns: the same jumps under bad conditions, hours without a jump, seasons.

In: simulated movements with exact truth. Out: printed tables, made by
``python -m tests.campaign.matrix``, ``python -m tests.campaign.no_jumps`` and, for sessions with
invented values, ``python -m tests.campaign.seasons``.
"""
