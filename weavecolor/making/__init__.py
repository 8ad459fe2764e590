"""What is being made: cloths in hand, options, choice, pieces, plans, and the file of all that."""
