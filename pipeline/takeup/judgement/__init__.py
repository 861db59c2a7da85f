"""Facts are assembled, rules answer, verdicts come out.

One small file a rule in :mod:`takeup.judgement.rules`; the cases they answer with in :mod:`.cases`, the facts
they give in :mod:`.facts`, what they count by in :mod:`.settings`.
"""
