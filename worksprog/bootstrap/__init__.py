"""Set up, start and test a checkout from nothing but Python's own library.

``python3 -m worksprog.bootstrap demo`` is what ``make demo`` calls. Nothing here may import a package
that has to be installed first: these modules are what installs them. ``inside`` alone is run by the
virtual environment's Python, and keeps its imports inside its functions.
"""
