"""Review and record-keeping: what waits for a decision, what was decided, what changed and what that moved."""
