"""The book: the player's own collection of sequences, and the answers of the ear games."""
