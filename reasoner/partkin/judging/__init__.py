"""From what is known of a donor to what was found out: what joins positions, fit, adaptation and verdict."""
