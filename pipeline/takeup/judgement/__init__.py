"""Facts are assembled, rules answer, verdicts come out."""
