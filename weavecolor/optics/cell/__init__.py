"""The unit cell of a woven cloth: where its yarns lie and what light meets.

Geometry only, apart from colour: everything here is computed once per construction and cached.
"""
