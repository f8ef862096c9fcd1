"""A parametric body: identities, arm, hand and stance, with exactly set joint angles."""
