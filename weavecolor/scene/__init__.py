"""Where a garment is seen: places, lights with directions, and what lies behind the cloth."""
