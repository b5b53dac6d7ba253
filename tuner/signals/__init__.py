"""Arrays in, arrays out: resample, differentiate, cut cycles, thin for drawing.

Takes arrays; gives arrays. Knows no record and no file.
"""
