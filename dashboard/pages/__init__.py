"""One module for each page; ``register(app, services)`` adds it."""
