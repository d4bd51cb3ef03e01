"""From readings on record to levels: what the reduction needs, the reduction, its explanation, which levels count."""
