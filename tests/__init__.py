"""The tests of Wearbook."""
