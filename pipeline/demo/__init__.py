"""A synthetic campaign: physics-based, with data errors and planted effects. Used only by the demo and the tests."""
