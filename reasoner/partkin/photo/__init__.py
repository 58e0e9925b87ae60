"""Pictures -> where points lie on a flat face, how surely, or whether two patterns can be alike.

In: points picked in a photograph and what is known of their size. Out: a homography, places with covariance, or why not
there is none. readings makes readings of them; commands compares shapes.
"""
