"""What is handed over: tables, comparisons in a picture, a cloth described, the making sheet."""
