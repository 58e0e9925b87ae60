"""The graph: what goes in comes out, rules and queries say what they claim, questions stay within limits."""
