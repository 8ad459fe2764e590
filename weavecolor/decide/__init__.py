"""Decide what to make: search all stacks for what is wanted, and say why, before cutting.

Knows wishes, limits and stacks; uses the optics and colour of the rest. No files, no pictures.
"""
