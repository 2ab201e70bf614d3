"""What findings and remedies say in German, a module for each topic, as in `review/words`; no judgement."""

from planner_core.review.german import care, light, picture, remedies, rig, sky

__all__ = ["care", "light", "picture", "remedies", "rig", "sky"]  # each registers its sentences
