"""A hand-carried array of pick-up coils, modelled for test captures only.

Written from the capture format and textbook physics, and sharing no code and no parameters with the
project's own simulator: what both get right is then right, and what only one gets wrong shows.
"""
