"""Movements whose facts are known without looking at any sensor signal.

Nothing in here imports the signal pipeline: a movement gives both the signals that three
ideal sensors would deliver and, by a separate route, what truly happened.
"""
