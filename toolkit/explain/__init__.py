"""What the keys of a brief, the verbs and the words of the messages mean, and where the guide treats them (rank 3)."""
