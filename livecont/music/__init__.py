"""Pitches, keys, compasses: values and functions, nothing else."""
