"""From fibre to what is seen: yarn, cell, layer, stack, and the sum over lights."""
