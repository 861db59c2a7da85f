"""takeup: which chains of a plant need which job, why, and by when."""
