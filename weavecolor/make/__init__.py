"""From a chosen stack to the cutting table: fullness, pieces, lay, sheet and project file."""
