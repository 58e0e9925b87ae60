"""partkin: will a part from a sister model bolt on?"""

__version__ = "0.1.0"
