"""Starts the courtside page: ``python -m dashboard``."""

from dashboard.launch import main

if __name__ == "__main__":
    main()
