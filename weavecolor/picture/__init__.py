"""Pictures of cloth: close-ups, cloth as it hangs, loops, sheets of options.

Drawn in linear light from the computed result, and put on the screen by ``encode``.
"""
