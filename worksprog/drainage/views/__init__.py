"""Pages of the drain network, one module a subject; addresses stand in ``drainage/urls.py``."""
