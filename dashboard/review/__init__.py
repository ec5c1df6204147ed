"""The review pages' data: from the store to what a page shows, and what a page may change."""
