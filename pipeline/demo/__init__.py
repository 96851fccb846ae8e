"""An invented campaign: physical, messy, with planted effects. Only the demo and the tests import it."""
