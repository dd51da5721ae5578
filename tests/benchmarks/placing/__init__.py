"""
How well the place is known: simulated runs, followed by sound and by the clock.

::

    cases     what is cut, on what machine, in what shop, and from when on it is heard
    follow    one run: simulated, heard, followed, compared with the truth
    table     what came of all runs, as Markdown
"""
