"""
Line numbers from outside, where a machine's controller, or its sender, can be made to tell them.

::

    Source.run, in a Worker's thread -> Outlet -> Feed.take, after each block -> FedLocator, journal

Nothing that a source does holds up the listening. Each has a file; `where.py` tells which one is meant.
"""
