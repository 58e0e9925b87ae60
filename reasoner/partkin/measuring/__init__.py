"""Taking readings down, asking for the next one, photographs: what joins the sheets and the positions stage."""
