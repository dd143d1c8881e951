"""Why does the tension oscillate: what a recorded trend says, and what to check next."""
