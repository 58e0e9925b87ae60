"""What lies where -> a picture of shapes, and from it SVG, PNG, PDF or DXF; a drawing by others -> holes and slots.

In: views (positions, placements, offsets). Out: pictures, or the text or bytes of a file.
report puts pictures into pages; commands and cli ask for single ones.
"""
