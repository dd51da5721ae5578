"""
The shelf: all bits that are known, and how they sound when they are tight.

::

    bits        the shelf's file, read
    table       what may stand in it
    writing     changes to it, which leave all else as a person wrote it
    text        `chipsong bits`: the shelf in words
    references  how bits sound when they are tight: a book for each
    accepting   `chipsong accept`: a reference is made of runs that a person accepted
"""
