"""Lessons and the ear game: pure machines that ask, judge and teach, and what runs them."""
