"""The heat balance of one instant: books, and what they are made of."""
