"""Colour, depth, sheen and cover of two-tone ("shot") woven cloth.

Data flows one way: cloth -> layer -> stack -> light -> colour -> picture or decision.
"""

__version__ = "0.1.0"
