"""Laying a picture on a surface of the set: warp, edge, grain; arrays only."""
