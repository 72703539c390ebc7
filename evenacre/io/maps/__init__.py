"""Map files: boundaries, zones, unworkable ground, and any other layer.

Readers return what they read, in EPSG:4326 with longitudes running on past 180 where it crosses
the antimeridian, and their warnings. What a file gets wrong is an `InputError`.
"""
