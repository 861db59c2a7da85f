"""The calculations of chain wear, pure: arrays in, arrays out.

No file, clock, database, settings object or data frame comes in here. Values the site may choose are
arguments and have no default: whoever calls knows where they come from and can say so. NaN means *not known*
and stays NaN. Import from the module that owns the name (``from takeup.wear.elongation import tape_limit``).
"""
