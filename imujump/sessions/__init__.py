"""Results that last. In: analyses, athletes, notes. Out: records, trends, answers, loads."""
