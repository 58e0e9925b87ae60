"""Tests of getting a part out and back in."""
