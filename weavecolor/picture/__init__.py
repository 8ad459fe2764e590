"""Pictures of cloth: close-ups, drapes, turning loops, sheets of options.

Drawn in linear light from the computed result, and put on the screen by ``encode``.
"""
