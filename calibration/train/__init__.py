"""The two networks and the estimator: what they learn and how."""
