"""Two invented worlds in which chains wear, with truths the package never sees.

They share no code with the package and no physics with each other: a method tuned on one is shown on the
other.
"""
