"""Pages of the works: ``programme`` down to phases, ``item`` and its estimate, ``prices``."""
