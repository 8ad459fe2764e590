"""Pieces, the cloth in hand, the lay, folds and fullness: lengths and shapes, no light."""
