"""Invented worlds in which chains wear, with truths the package never sees.

They share no code with the package and no physics with each other. What the package ships is tuned on
:mod:`.duty` and :mod:`.ranges` and shown on :mod:`.wander` and :mod:`.events`.
"""
