"""What the trade calls things: fibre, yarn, weave, construction, cloth, units, grain. No light."""
