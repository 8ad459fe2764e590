"""Measure the cloth in hand: photographs to colours, thread counts and the cloth itself.

The parts are imported by name, so that counting threads need not load the rest.
"""
