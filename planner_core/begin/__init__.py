"""A first plan from a few facts: what isn't given is chosen, and said. Judged by the review, nowhere else."""
