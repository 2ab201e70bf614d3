"""What findings and remedies say in German, a module for each topic, as in `review/words`; no judgement."""
