"""The calculations, pure: arrays in, arrays out; no files, clock, database, pandas or settings object."""
