"""What a careful colleague would say about a plan: findings, as facts and in words. Nothing is changed."""
