"""evenhand: identify, level, grade and master phone clips by measurement.

Nothing is imported here, so that `evenhand --help` stays quick; import from the module that owns
a name.
"""

__version__ = "0.1.0.dev0"
